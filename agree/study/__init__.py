"""Many pairs: lists, checkpoints, executors, and statistics over units."""

from agree.study.finding import Found, find_pairs
from agree.study.listing import StudyRow
from agree.study.running import Study, run
from agree.study.tables import Line

__all__ = ["Found", "Line", "Study", "StudyRow", "find_pairs", "run"]
