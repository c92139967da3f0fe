"""Slow twin of the splitting of errors: all pairwise variances, then least squares, in plain loops."""

import numpy as np


def pairwise_variances(columns):
    """Variance of each pairwise difference, divisor n - 1, two passes."""
    found = {}
    for i in range(len(columns)):
        for j in range(i + 1, len(columns)):
            gaps = [a - b for a, b in zip(columns[i], columns[j], strict=True)]
            mean = sum(gaps) / len(gaps)
            found[i, j] = sum((gap - mean) ** 2 for gap in gaps) / (len(gaps) - 1)
    return found


def error_variances(columns):
    """Least-squares solution of v_ij = s_i + s_j."""
    found = pairwise_variances(columns)
    design = np.zeros((len(found), len(columns)))
    for row, (i, j) in enumerate(found):
        design[row, [i, j]] = 1
    return np.linalg.lstsq(design, np.array(list(found.values())), rcond=None)[0]
