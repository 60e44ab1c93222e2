"""The commands: options read and checked, the pipeline as calls, reports, and the command line."""
