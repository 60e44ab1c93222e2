"""Notes in seconds: swung, humanised, joined into practice tracks, and told in words."""
