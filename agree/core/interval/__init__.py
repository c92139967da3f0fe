"""The one engine that makes intervals."""
