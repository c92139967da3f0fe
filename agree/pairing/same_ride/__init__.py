"""Whether two recordings are of one ride: by minutes, by what the rider does between steps, and all along."""
