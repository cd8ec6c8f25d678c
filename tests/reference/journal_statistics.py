"""Trends, differences and success curves as scipy and plain counting give them.

Reads {"series": [[..]..], "pairs": [[a, b]..], "attempts": [[bpm, week, success]..],
"penalty": p} from standard input; answers the same numbers that the practice log uses.
"""

import itertools
import json
import math
import sys

import numpy as np
from scipy import optimize, stats


def rises(values):
    return sum(
        (b > a) - (b < a) for a, b in itertools.combinations(values, 2)
    )


def p_by_counting(values):
    """Share of all orders of the values that rise or fall as clearly."""
    s = abs(rises(values))
    orders = list(itertools.permutations(values)) if len(values) <= 7 else None
    if orders is None:
        # Counted by value classes: every order of equal values once.
        orders = distinct_orders(tuple(sorted(values)))
    clear = sum(abs(rises(o)) >= s for o in orders)
    return clear / len(orders)


def distinct_orders(values):
    if not values:
        return [()]
    found = []
    for first in dict.fromkeys(values):
        rest = list(values)
        rest.remove(first)
        found += [(first, *r) for r in distinct_orders(tuple(rest))]
    return found


def tail_without_ties(n):
    """Upper tail P(S >= s) of all orders of n different values."""
    counts = {}
    for order in itertools.permutations(range(n)):
        s = rises(order)
        counts[s] = counts.get(s, 0) + 1
    return counts


TAILS = {}


def interval(values):
    """Slopes that the exact two-sided 5 % test of the residuals does not refuse."""
    n = len(values)
    counts = TAILS.setdefault(n, tail_without_ties(n))
    total = math.factorial(n)
    critical = min(
        s for s in counts if sum(c for k, c in counts.items() if k >= s) / total <= 0.025
    )
    slopes = sorted(
        (values[j] - values[i]) / (j - i) for i, j in itertools.combinations(range(n), 2)
    )
    low = (len(slopes) - critical) // 2
    return slopes[low], slopes[len(slopes) - 1 - low]


def series(values):
    n = len(values)
    line = stats.theilslopes(values, np.arange(n))
    low, high = interval(values)
    answer = {
        "s": rises(values),
        "p_by_counting": p_by_counting(values),
        "slope": line.slope,
        "intercept": line.intercept,
        "low": low,
        "high": high,
        "p_kendall": None,
    }
    if len(set(values)) == n:
        answer["p_kendall"] = stats.kendalltau(np.arange(n), values, method="exact").pvalue
    return answer


def pair(a, b):
    test = stats.permutation_test(
        (np.array(a), np.array(b)),
        lambda x, y: abs(np.mean(y) - np.mean(x)),
        permutation_type="independent",
        n_resamples=np.inf,
        alternative="greater",
        vectorized=False,
    )
    return {"p": float(test.pvalue)}


def curve(attempts, penalty):
    data = np.array(attempts, dtype=float)
    mean = data[:, :2].mean(axis=0)
    sd = data[:, :2].std(axis=0, ddof=1)
    x = np.column_stack([np.ones(len(data)), (data[:, :2] - mean) / sd])
    y = data[:, 2]
    weights = np.array([penalty / 100, penalty, penalty])

    def loss(b):
        z = x @ b
        return np.sum(np.logaddexp(0, z) - y * z) + 0.5 * np.sum(weights * b * b)

    best = optimize.minimize(loss, np.zeros(3), method="BFGS", options={"gtol": 1e-9}).x
    per = best[1:] / sd
    return {
        "per_bpm": per[0],
        "per_week": per[1],
        "constant": best[0] - float(per @ mean),
    }


def main():
    asked = json.load(sys.stdin)
    json.dump(
        {
            "series": [series(v) for v in asked["series"]],
            "pairs": [pair(a, b) for a, b in asked["pairs"]],
            "curve": curve(asked["attempts"], asked["penalty"]),
        },
        sys.stdout,
        default=float,
    )


main()
