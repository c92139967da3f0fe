"""Choices that several functions offer, as types that a checker knows."""

from typing import Literal

Sampling = Literal["independent", "serial", "sessions"]
NanPolicy = Literal["raise", "omit"]
Scale = Literal["difference", "percent"]
LogScale = Literal["difference", "percent", "log"]
