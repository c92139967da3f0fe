"""Sessions in states: what each adjustment did."""
