"""How far one trace is behind the other: the curve over lags, the delay, and traces of one clock."""
