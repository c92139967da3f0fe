"""Estimators: public function, frozen result, pure numerics."""
