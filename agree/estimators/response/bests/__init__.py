"""Best efforts: their results, and the windows in which two traces are compared."""
