"""Figures as PDF and SVG with live text: own renderers, no global settings, equal bytes for equal input."""
