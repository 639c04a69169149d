"""The forecast of `standings.rs` in another form: matrices of Bayesian linear regression, and Student's t of SciPy.

Prints the numbers that `standings.rs` (the test) has typed in.
"""

import numpy
from scipy import stats

TENTH = [(2013, 730.7), (2014, 714.1), (2015, 689.2), (2016, 652.8), (2017, 697.1), (2018, 597.3), (2019, 660.8)]
FIRST = [831.5, 876.6, 848.1, 921.7, 902.5, 840.9, 892.4]


def forecast(rows, usual, year, level, slope=0.5, freedom=1.5):
    x = numpy.array([[1.0, y - year] for y, _ in rows])
    # The prior of the slope is about zero at the mean of the years: shift the second column there.
    middle = x[:, 1].mean()
    x[:, 1] -= middle
    y = numpy.array([value for _, value in rows])
    prior = numpy.diag([1e-14, 1 / slope**2])
    precision = x.T @ x + prior
    mean = numpy.linalg.solve(precision, x.T @ y)
    nu = freedom + len(rows) - 1
    square = freedom * usual**2 + y @ y - mean @ precision @ mean
    at = numpy.array([1.0, -middle])
    scale = numpy.sqrt(square / nu * (1 + at @ numpy.linalg.solve(precision, at)))
    half = stats.t.ppf(0.5 + level / 2, nu) * scale
    return at @ mean, at @ mean - half, at @ mean + half, mean[1], scale


for rows in (TENTH, TENTH[:2], TENTH[:4]):
    print([f"{number:.6f}" for number in forecast(rows, 0.05 * max(FIRST[: len(rows)]), rows[-1][0] + 1, 0.9)])
