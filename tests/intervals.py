#!/usr/bin/env python3
"""Draws the cases of trace/tests/numbers/intervals.rs with SciPy and prints the table that is in that file.

    tests/intervals.py

Needs NumPy and SciPy. For each case: the mean of 30,000 draws with its standard error, and the bounds of the two ends of
an interval that has between 93 and 97 % of the draws inside: between 1.5 and 3.5 % of them are beyond each end, or, if one
end is itself the outcome of more than 2.5 % of them, between 3 and 7 % are beyond the other.
"""

import numpy as np
from scipy.stats import norm

DRAWS = 30_000


def main():
    for number, (name, draw) in enumerate(CASES.items()):
        random = np.random.default_rng(20270319 + number)

        def about(value, expanded, random=random):
            return norm.rvs(value, expanded / 2, DRAWS, random_state=random)

        def chance(share, random=random):
            return random.random(DRAWS) < share

        values = np.sort(draw(about, chance))
        lowest, highest = np.mean(values == values[0]), np.mean(values == values[-1])
        at = lambda share: values[round(share * (DRAWS - 1))]
        if lowest > 0.025 and highest <= 0.025:
            ends = values[0], values[0], at(0.93), at(0.97)
        elif highest > 0.025 and lowest <= 0.025:
            ends = at(0.03), at(0.07), values[-1], values[-1]
        else:
            ends = at(0.015), at(0.035), at(0.965), at(0.985)
        error = values.std() / np.sqrt(DRAWS)
        print(f'    ("{name}", {values.mean():.6g}, {error:.3g}, [{", ".join(f"{end:.6g}" for end in ends)}]),')


def pace(time, best, slowest, span, floor):
    """The score of a time: no car is faster than the best, which may be ours."""
    best = np.minimum(best, time)
    share = (slowest / np.minimum(time, slowest) - 1) / (slowest / best - 1)
    return span * share + floor


def cap_both(about, chance):
    return pace(about(4.0, 0.1), about(4.0, 0.1), 6.0, 95.5, 4.5)


def cap_best(about, chance):
    return pace(about(3.95, 0.1), 4.0, 6.0, 95.5, 4.5)


def floor(about, chance):
    return pace(about(6.02, 0.2), 4.0, 6.0, 95.5, 4.5)


def drop(about, chance):
    time = about(5.8, 0.3)
    return np.where(time < 6.0, 20 + 50 * (6.0 / time - 1), 0.0)


def cap_and_floor(about, chance):
    fuel = about(2.6, 1.2)
    return np.minimum(100, np.maximum(0, 100 * (5.1 - fuel) / (5.1 - 1.9)))


def least(about, chance):
    return np.minimum(about(2.3, 0.2), about(2.4, 0.2))


def greatest_of_shared(about, chance):
    shared, own = about(10, 1), about(0, 0.4)
    return np.maximum(shared + own, 20 - shared)


def distance(about, chance):
    return np.abs(about(0, 0.3))


def finish(about, chance):
    return np.where(chance(0.9), pace(about(63.0, 1.2), about(56.5, 0.8), 81.925, 250, 25), 0)


def rare_finish(about, chance):
    return np.where(chance(0.4), about(190, 12), 0)


def rare_stop(about, chance):
    return np.where(chance(0.99), about(190, 12), 0)


def capped_finish(about, chance):
    return np.where(chance(0.8), pace(about(4.0, 0.1), about(4.0, 0.1), 6.0, 95.5, 4.5), 0)


def together(about, chance):
    finishes = chance(0.9)
    return np.where(finishes, about(200, 11), 0) + np.where(finishes, about(57, 8), 0) + about(400, 20)


def apart(about, chance):
    return np.where(chance(0.9), about(200, 11), 0) + np.where(chance(0.7), about(57, 8), 0) + about(400, 20)


def shared_best(about, chance):
    best = about(56.5, 0.8)
    run = pace(about(57.0, 1.0), best, 81.925, 250, 25)
    lap = pace(about(57.2, 1.0), best, 81.925, 118.5, 6.5)
    return np.where(chance(0.9), run, 0) + lap


CASES = {
    "cap-both": cap_both,
    "cap-best": cap_best,
    "floor": floor,
    "drop": drop,
    "cap-and-floor": cap_and_floor,
    "least": least,
    "greatest-of-shared": greatest_of_shared,
    "distance": distance,
    "finish": finish,
    "rare-finish": rare_finish,
    "rare-stop": rare_stop,
    "capped-finish": capped_finish,
    "together": together,
    "apart": apart,
    "shared-best": shared_best,
}

if __name__ == "__main__":
    main()
