"""Several devices and no reference."""
