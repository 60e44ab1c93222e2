"""The practice page."""
