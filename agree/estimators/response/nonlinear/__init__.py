"""Responses that no linear filter describes: slower one way than the other, and readings held after pedalling ends."""
