"""Single figures of agreement and repeatability."""
