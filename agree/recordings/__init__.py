"""From files and frames to two clean traces and their pairs."""
