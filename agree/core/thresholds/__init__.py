"""Thresholds that decide an answer or name a finding, room by room, each with its reason or benchmark."""

from agree.core.thresholds.causes import *
from agree.core.thresholds.clocks import *
from agree.core.thresholds.correction import *
from agree.core.thresholds.devices import *
from agree.core.thresholds.estimators import *
from agree.core.thresholds.faults import *
from agree.core.thresholds.gaps import *
from agree.core.thresholds.pairing import *
from agree.core.thresholds.quantities import *
from agree.core.thresholds.recordings import *
from agree.core.thresholds.study import *
from agree.core.thresholds.trials import *
from agree.core.thresholds.verdict import *
