"""What a study says of units, devices and conditions."""
