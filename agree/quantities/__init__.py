"""Recordings of any quantity: heart rate, speed, temperature and others; whose a delay is, and the answer both ways."""
