"""The response between two traces of which one leaves out the seconds in which the rider stands."""
