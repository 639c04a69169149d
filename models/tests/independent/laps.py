"""A hundred random cars with gears, load transfer, load-sensitive tyres, a power limit and energy given back, on a closed
lap and on a circle, integrated with NumPy alone, for tests/independent_laps.rs.

No Rust code is reused. The loads of the four wheels, the friction coefficient of each and the forces of axles are added up
wheel by wheel; the largest driving and braking forces and the corner speeds are found by bisection. The lap is a forward
and a backward pass of the squared speed over distance with a Runge-Kutta method of fourth order on a fixed grid of N steps
per segment, for all cars at the same time; time and energy are sums over that grid.

    python3 -m venv v && v/bin/pip install numpy && v/bin/python laps.py > laps.csv
"""

import random

import numpy as np

G, CARS, SEGMENTS, N = 9.80665, 100, 9, 400


def draw(r):
    car = dict(mass=r.uniform(200, 350), grip=r.uniform(1.2, 1.8), drag=r.uniform(0.5, 1.5), lift=r.uniform(0, 3),
               roll=r.uniform(0.01, 0.03), rotating=r.uniform(0, 20), height=r.uniform(0.22, 0.35),
               wheelbase=r.uniform(1.53, 1.7), air=r.uniform(1.1, 1.25), loss=r.uniform(1e-5, 4e-5),
               reference=r.uniform(2000, 3500), front_track=r.uniform(1.1, 1.3), rear_track=r.uniform(1.05, 1.25))
    car["share"] = r.uniform(0.46, 0.58) if r.random() < 0.7 else 1.0
    car["front_roll"] = r.uniform(0.4, 0.6)
    car["braking_grip"] = car["grip"] * r.uniform(0.9, 1.1)
    car["limit"] = r.uniform(35e3, 80e3)
    car["regeneration"] = r.choice([0.0, r.uniform(0.2, 0.7)])
    car["regeneration_limit"] = r.uniform(10e3, 60e3)
    car["shift"] = r.choice([0.0, 0.05, 0.15])
    car["factor"] = r.uniform(0.98, 1.06)
    # Road speeds at the redline of each gear, with a shaft speed of 1000 rad/s there.
    first = r.uniform(11, 15)
    car["tops"] = [first, first * 1.3, first * 1.6, first * 1.6 * r.uniform(1.2, 1.8)]
    peak = r.uniform(40e3, 90e3)
    car["engine"] = [(350.0, 0.3 * peak), (600.0, 0.7 * peak), (850.0, peak), (1000.0, 0.93 * peak)]
    track = [(r.uniform(20, 60), 0.0), (r.uniform(5, 20), 1 / r.uniform(6, 12)), (r.uniform(5, 30), 1 / r.uniform(15, 60)),
             (r.uniform(30, 80), 0.0), (r.uniform(5, 15), -1 / r.uniform(5, 9)), (r.uniform(3, 9), 1 / r.uniform(5, 12)),
             (r.uniform(20, 40), 1 / r.uniform(25, 80)), (r.uniform(40, 90), 0.0), (r.uniform(5, 20), 1 / r.uniform(8, 20))]
    assert len(track) == SEGMENTS
    car["track"] = track
    car["radius"] = r.uniform(7.5, 15)
    return car


class Cars:
    """Columns over all cars."""

    def __init__(self, cars):
        for key in cars[0]:
            if key not in ("tops", "engine", "track"):
                setattr(self, key, np.array([car[key] for car in cars]))
        self.tops = np.array([car["tops"] for car in cars])
        self.engine = np.array([car["engine"] for car in cars])
        self.rear = np.where(self.share < 1, self.share, 0.5)
        self.inertia = self.mass + self.rotating
        self.all_driven = self.share == 1

    def load(self, v):
        return self.mass * G + self.air * self.lift * v * v / 2

    def resist(self, v):
        return self.air * self.drag * v * v / 2 + self.roll * self.load(v)

    def wheels(self, v, curvature, acceleration):
        """Loads: front inner, front outer, rear inner, rear outer."""
        pitch = self.mass * acceleration * self.height / self.wheelbase
        front, rear = (1 - self.rear) * self.load(v) - pitch, self.rear * self.load(v) + pitch
        moment = self.mass * v * v * curvature * self.height
        over_front, over_rear = self.front_roll * moment / self.front_track, (1 - self.front_roll) * moment / self.rear_track
        return front / 2 - over_front, front / 2 + over_front, rear / 2 - over_rear, rear / 2 + over_rear

    def hold(self, load):
        """The force of one tyre: it loses four times the value of the car per newton."""
        return (self.grip - 4 * self.loss * (load - self.reference / 4)) * load

    def axles(self, v, curvature, acceleration):
        a, b, c, d = self.wheels(v, curvature, acceleration)
        return self.hold(a) + self.hold(b), self.hold(c) + self.hold(d)

    def power_force(self, v):
        gear = np.minimum((v[:, None] > self.tops).sum(axis=1), 3)
        shaft = 1000 * v / self.tops[np.arange(len(v)), gear]
        speeds, powers = self.engine[:, :, 0], self.engine[:, :, 1]
        at = np.clip((shaft[:, None] > speeds).sum(axis=1) - 1, 0, 2)
        rows = np.arange(len(v))
        s0, s1, p0, p1 = speeds[rows, at], speeds[rows, at + 1], powers[rows, at], powers[rows, at + 1]
        power = p0 + (p1 - p0) * (shaft - s0) / (s1 - s0)
        # Below the first row the clutch slips: the force of that row.
        slip = shaft < speeds[:, 0]
        power = np.where(slip, powers[:, 0] * shaft / speeds[:, 0], np.where(shaft > 1000, powers[:, 3], power))
        power = np.minimum(power, self.limit)
        return np.where(v > self.tops[:, 3], 0.0, power / v)

    def lag(self, v):
        """Time of the shift per range of speeds, in the ranges around the first three redlines."""
        lag = np.zeros_like(v)
        for k in range(3):
            here, after = self.tops[:, k], self.tops[:, k + 1]
            before = self.tops[:, k - 1] if k else 0 * here
            width = np.minimum(0.05 * here, np.minimum(0.5 * (here - before), 0.5 * (after - here)))
            lag = np.where(np.abs(v - here) < width / 2, self.shift / width, lag)
        return lag

    def drive(self, v, curvature):
        lateral = self.mass * v * v * curvature
        resist = self.resist(v)

        def fits(force):
            front, rear = self.axles(v, curvature, (force - resist) / self.inertia)
            both = np.hypot(force, lateral) <= front + rear
            axle = (np.hypot(force, self.rear * lateral) <= rear) & ((1 - self.rear) * lateral <= front)
            unloaded = (1 - self.rear) * self.load(v) >= self.mass * (force - resist) / self.inertia * self.height / self.wheelbase
            return np.where(self.all_driven, both, axle & unloaded)

        low, high = resist.copy(), self.power_force(v)
        top = np.where(fits(high), high, low)
        high = np.maximum(high, low)
        for _ in range(48):
            middle = (low + high) / 2
            good = fits(middle)
            low, high = np.where(good, middle, low), np.where(good, high, middle)
        return np.where(top == self.power_force(v), top, low)

    def brake(self, v, curvature):
        lateral = self.mass * v * v * curvature
        resist = self.resist(v)

        def fits(force):
            front, rear = self.axles(v, curvature, -(force + resist) / self.inertia)
            return np.hypot(force * self.grip / self.braking_grip, lateral) <= front + rear

        low, high = np.zeros_like(v), 4 * self.load(v)
        for _ in range(48):
            middle = (low + high) / 2
            good = fits(middle)
            low, high = np.where(good, middle, low), np.where(good, high, middle)
        return low

    def corner(self, curvature, resisted):
        def over(v):
            front, rear = self.axles(v, curvature, 0.0)
            lateral = self.mass * v * v * curvature
            resist = self.resist(v) if resisted else 0 * v
            fits = ((1 - self.rear) * lateral <= front) & (self.rear * lateral <= rear)
            driven = np.where(self.all_driven, np.hypot(lateral, resist) <= front + rear,
                              np.hypot(self.rear * lateral, resist) <= rear)
            a, b, c, d = self.wheels(v, curvature, 0.0)
            moment = lateral * self.height
            stands = moment <= self.load(v) * ((1 - self.rear) * self.front_track + self.rear * self.rear_track) / 2
            return ~(fits & driven & stands)

        low, high = np.full(CARS, 0.01), np.full(CARS, 200.0)
        endless = ~over(high)
        for _ in range(60):
            middle = (low + high) / 2
            bad = over(middle)
            low, high = np.where(bad, low, middle), np.where(bad, middle, high)
        return np.where(endless | (curvature == 0), 1e3, low)


def rk4(f, w, h):
    a = f(w)
    b = f(w + h / 2 * a)
    c = f(w + h / 2 * b)
    d = f(w + h * c)
    return w + h / 6 * (a + 2 * b + 2 * c + d)


def laps(cars, tracks):
    lengths = np.array([[row[0] for row in track] for track in tracks])
    curvatures = np.abs(np.array([[row[1] for row in track] for track in tracks]))
    caps = np.array([cars.corner(curvatures[:, k], True) for k in range(SEGMENTS)]).T ** 2
    # Each car begins in its slowest corner.
    begin = np.argmin(caps, axis=1)
    order = (begin[:, None] + np.arange(SEGMENTS)) % SEGMENTS
    pick = lambda table: np.take_along_axis(table, order, axis=1)
    lengths, curvatures, caps = pick(lengths), pick(curvatures), pick(caps)

    back = np.zeros((SEGMENTS, N + 1, CARS))
    w = caps[:, 0].copy()
    for k in reversed(range(SEGMENTS)):
        c, cap, h = curvatures[:, k], caps[:, k], lengths[:, k] / N
        slope = lambda w: 2 * (cars.brake(np.sqrt(np.minimum(w, cap)), c) + cars.resist(np.sqrt(np.minimum(w, cap)))) / cars.inertia
        w = np.minimum(w, cap)
        back[k, N] = w
        for j in reversed(range(N)):
            w = np.minimum(rk4(slope, w, h), cap)
            back[k, j] = w

    w = caps[:, 0].copy()
    # Every car reaches its slowest corner at the speed of that corner, so one lap is enough.
    time, energy, recovered = np.zeros(CARS), np.zeros(CARS), np.zeros(CARS)
    for k in range(SEGMENTS):
        c, cap, h = curvatures[:, k], caps[:, k], lengths[:, k] / N

        def slope(w):
            v = np.sqrt(np.minimum(w, cap))
            force = cars.drive(v, c)
            net = (force - cars.resist(v)) / (cars.inertia + force * cars.lag(v))
            return 2 * net

        w = np.minimum(w, cap)
        for j in range(N):
            # The speed is the smaller one of both passes.
            after = np.minimum(rk4(slope, w, h), cap)
            now, then = np.minimum(w, back[k, j]), np.minimum(after, back[k, j + 1])
            v0, v1 = np.sqrt(now), np.sqrt(then)
            time += 2 * h / (v0 + v1)
            middle = (v0 + v1) / 2
            motion = cars.inertia * (then - now) / 2
            work = motion + cars.resist(middle) * h
            driving = after <= back[k, j + 1]
            braking = w > back[k, j]
            energy += np.where(driving, work, 0)
            power = -work * middle / h
            part = np.minimum(1, cars.regeneration_limit / np.maximum(power, 1e-9))
            recovered += np.where(braking & ~driving, np.maximum(-work, 0) * part, 0)
            w = after
    return cars.factor * time, energy - cars.regeneration * recovered


def main():
    r = random.Random(20270319)
    drawn = [draw(r) for _ in range(CARS)]
    cars = Cars(drawn)
    time, energy = laps(cars, [car["track"] for car in drawn])
    circle = cars.corner(1 / cars.radius, False)
    names = ["mass", "grip", "drag", "lift", "roll", "rotating", "share", "height", "wheelbase", "air", "loss", "reference",
             "front_track", "rear_track", "front_roll", "braking_grip", "limit", "regeneration", "regeneration_limit", "shift",
             "factor", "radius"]
    print("# made by laps.py with NumPy; one car a line")
    print(",".join(names + ["tops", "engine", "track", "lap-time", "lap-energy", "circle-time"]))
    for k, car in enumerate(drawn):
        pairs = lambda rows: ";".join(f"{a!r}:{b!r}" for a, b in rows)
        circle_time = car["factor"] * 2 * np.pi * car["radius"] / circle[k]
        print(",".join([repr(car[name]) for name in names] + [";".join(map(repr, car["tops"])), pairs(car["engine"]),
              pairs(car["track"])] + [repr(float(x)) for x in (time[k], energy[k], circle_time)]))


main()
