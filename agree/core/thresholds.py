"""Thresholds that decide an answer or name a finding, room by room, each with its reason or benchmark."""
