"""What keeps a "holds" about a quantity from being given."""
