"""Names of the JSON Schema files that the package ships."""

NAMES = ("1", "2", "plan", "plan-of-trials", "static", "devices", "study", "look")
