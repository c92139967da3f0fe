"""Estimators, one file each: public function, frozen result, pure numerics."""
