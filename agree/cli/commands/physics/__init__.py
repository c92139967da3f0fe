"""Commands that set physics beside a device: hung masses and climbs."""
