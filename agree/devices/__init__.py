"""Several devices on one effort and none of them trusted."""
