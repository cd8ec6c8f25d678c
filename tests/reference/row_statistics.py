"""Statistics by numpy and scipy.

Standard input, JSON: rows [[y, ...], ...], weights of the same shape; x is the
place in the row. Standard output, JSON: a record a row.
"""
import json
import sys

import numpy
from scipy import optimize, stats

given = json.load(sys.stdin)


def record(row, weights):
    x = numpy.arange(len(row))
    # "joint": the intercept is the median of y - slope x.
    line = stats.theilslopes(row, x, method="joint")
    return {
        "median": float(numpy.median(row)),
        "quantile_30": float(numpy.quantile(row, 0.3)),
        "mean": float(numpy.mean(row)),
        "sd": float(numpy.std(row, ddof=1)),
        "mad_sd": float(stats.median_abs_deviation(row, scale="normal")),
        "isotonic": optimize.isotonic_regression(row, weights=weights).x.tolist(),
        "slope": float(line.slope),
        "intercept": float(line.intercept),
        "r_squared": float(stats.linregress(x, row).rvalue ** 2),
    }


json.dump(
    [
        record(numpy.array(row), numpy.array(weights))
        for row, weights in zip(given["rows"], given["weights"], strict=True)
    ],
    sys.stdout,
)
