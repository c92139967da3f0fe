"""JSON Schemas of what the commands write, shipped as files."""
