"""The printed chord sheet."""
