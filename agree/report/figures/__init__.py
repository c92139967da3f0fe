"""Pictures of stored numbers."""
