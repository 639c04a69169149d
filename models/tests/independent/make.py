"""Ten random cars on a straight and on a lap, integrated with SciPy alone, for tests/independent.rs.

No Rust code is reused: the forces are derived again from Newton's law, the straight line is a
time integration (solve_ivp, DOP853) with events, and the lap is a forward and a backward pass of squared speed over
distance (solve_ivp, DOP853, in each segment), joined where they cross (brentq).

    python3 -m venv v && v/bin/pip install scipy && v/bin/python make.py > cars.csv
"""

import math
import random

from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

G = 9.80665
TIGHT = dict(method="DOP853", rtol=1e-12, atol=1e-12)


class Car:
    def __init__(self, r):
        self.m = r.uniform(200, 350)
        self.mu = r.uniform(1.0, 1.8)
        self.cda = r.uniform(0.5, 1.5)
        self.cla = r.uniform(0.0, 3.0)
        self.crr = r.uniform(0.01, 0.03)
        self.rot = r.uniform(0, 20)
        self.rear = r.random() < 0.7
        self.share = r.uniform(0.45, 0.6) if self.rear else 1.0
        self.h = r.uniform(0.22, 0.35)
        self.wb = r.uniform(1.53, 1.7)
        self.rho = r.uniform(1.1, 1.25)
        self.mub = r.uniform(0.9, 1.1) * self.mu

    def load(self, v):
        return self.m * G + self.rho * self.cla * v * v / 2

    def resist(self, v):
        return self.rho * self.cda * v * v / 2 + self.crr * self.load(v)

    def drive(self, v, power, curvature):
        """The largest drive by bisection on the axles' friction circles themselves."""
        lateral = self.m * v * v * curvature

        def fits(force):
            if not self.rear:
                return force**2 + lateral**2 <= (self.mu * self.load(v)) ** 2
            acc = (force - self.resist(v)) / (self.m + self.rot)
            moved = self.m * acc * self.h / self.wb
            back = self.share * self.load(v) + moved
            front = (1 - self.share) * self.load(v) - moved
            return (
                force**2 + (self.share * lateral) ** 2 <= (self.mu * back) ** 2
                and (1 - self.share) * lateral <= self.mu * front
            )

        top = power / v if v > 0 else 1e9
        top = min(top, 3 * self.mu * self.load(v))
        low = self.resist(v)
        if fits(top):
            return top
        if not fits(low):
            return low
        for _ in range(70):
            mid = (low + top) / 2
            low, top = (mid, top) if fits(mid) else (low, mid)
        return low

    def brake(self, v, curvature):
        lateral = self.m * v * v * curvature
        rest = 1 - (lateral / (self.mu * self.load(v))) ** 2
        return self.mub * self.load(v) * math.sqrt(max(0.0, rest))

    def corner(self, curvature):
        """Speed at which the driven axle holds the car against lateral force and resistance."""
        def over(v):
            return math.hypot(self.share * self.m * v * v * curvature, self.resist(v)) - self.share * self.mu * self.load(v)

        if curvature == 0 or over(120.0) < 0:
            return math.inf
        return brentq(over, 0.1, 120.0, xtol=1e-14, rtol=1e-15)


def straight(car, power, staging, distance, gears, shift_time):
    """gears: speeds at which it shifts; constant power in each."""
    t, v, x = 0.0, 0.0, 0.0
    started = 0.0 if staging == 0 else None

    def go(force, until_v, until_t):
        nonlocal t, v, x, started
        def f(_, y):
            return [(force(y[0]) - car.resist(y[0])) / (car.m + car.rot), y[0]]
        while True:
            line = staging if started is None else staging + distance
            at_line = lambda _, y: y[1] - line
            at_speed = lambda _, y: y[0] - until_v
            at_line.terminal = at_speed.terminal = True
            at_line.direction = at_speed.direction = 1
            s = solve_ivp(f, (t, min(until_t, t + 100)), [v, x], events=[at_line, at_speed], max_step=0.01, **TIGHT)
            t, v, x = s.t[-1], s.y[0][-1], s.y[1][-1]
            if len(s.t_events[0]):
                x = line
                if started is None:
                    started = t
                    continue
                return True
            if len(s.t_events[1]):
                v = until_v
            return False

    for index, top in enumerate(gears):
        if index and shift_time and go(lambda v: 0.0, math.inf, t + shift_time):
            break
        # at the start the tyres limit the force; the change to power over speed is smooth enough for max_step
        last = index + 1 == len(gears)
        if go(lambda v: car.drive(max(v, 1e-9), power, 0.0), math.inf if last else top, math.inf):
            break
    return t - started, v


def lap(car, power, track):
    caps = [car.corner(abs(c)) for _, c in track]
    n = len(track)
    begin = min(range(n), key=lambda i: caps[i])
    track = track[begin:] + track[:begin]
    caps = caps[begin:] + caps[:begin]
    me = car.m + car.rot

    def forward(i, w0):
        length, c = track[i]
        cap = caps[i] ** 2
        def f(_, y):
            v = math.sqrt(min(y[0], cap))
            force = car.drive(v, power, abs(c))
            return [2 * (force - car.resist(v)) / me, 1 / v, force]
        if w0 >= cap * (1 - 1e-11):
            return None, cap
        full = lambda _, y: y[0] - cap * (1 - 1e-11)
        full.terminal = True
        s = solve_ivp(f, (0, length), [w0, 0, 0], events=full if cap < math.inf else None, dense_output=True,
                      max_step=length / 40, **TIGHT)
        end = s.t[-1]
        def at(x):
            if x <= end:
                return s.sol(x)
            w, t, e = s.sol(end)
            v = math.sqrt(cap)
            return [cap, t + (x - end) / v, e + car.resist(v) * (x - end)]
        return at, at(length)[0]

    def backward(i, w1):
        length, c = track[i]
        cap = caps[i] ** 2
        if w1 >= cap * (1 - 1e-12):
            return (lambda x: cap), cap
        def f(_, y):
            v = math.sqrt(min(y[0], cap))
            return [2 * (car.brake(v, abs(c)) + car.resist(v)) / me]
        full = lambda _, y: y[0] - cap
        full.terminal = True
        s = solve_ivp(f, (0, length), [w1], events=full if cap < math.inf else None, dense_output=True,
                      max_step=length / 40, **TIGHT)
        end = s.t[-1]
        at = lambda x: s.sol(length - x)[0] if length - x <= end else cap
        return at, at(0)

    back = [None] * n
    w = caps[0] ** 2
    for i in reversed(range(n)):
        back[i] = backward(i, min(w, caps[i] ** 2))
        w = back[i][1]
    w = caps[0] ** 2
    for _ in range(3):
        front, starts = [], []
        for i in range(n):
            w = min(w, caps[i] ** 2)
            starts.append(w)
            front.append(forward(i, w))
            w = front[-1][1]
    time = energy = 0.0
    for i in range(n):
        length, _ = track[i]
        cap, b, f, v0 = caps[i], back[i][0], front[i][0], math.sqrt(starts[i])
        fw = (lambda x: starts[i]) if f is None else (lambda x: f(x)[0])
        over = lambda x: fw(x) - b(x)
        eps = 1e-9 * starts[i]
        if over(0) > eps:
            cross = 0.0
        elif over(length) <= eps:
            cross = length
        else:
            cross = brentq(lambda x: over(x) - eps * 1e-3, 0, length, xtol=1e-12)
        if f is None:
            time += cross / v0
            energy += car.resist(v0) * cross
        else:
            time += f(cross)[1]
            energy += f(cross)[2]
        if cross < length:
            time += quad(lambda x: 1 / math.sqrt(b(x)), cross, length, epsrel=1e-11, epsabs=1e-13, limit=400)[0]
    return time, energy


def main():
    r = random.Random(20260131)
    print("# made by make.py with SciPy; one car a line")
    print("mass,grip,drag-area,lift-area,rolling-resistance,rotating-mass,driven-share,cg-height,wheelbase,air-density,"
          "braking-grip,power,staging,shift-time,gear-1,gear-2,gear-3,track,run-time,run-speed,lap-time,lap-energy")
    for k in range(10):
        car = Car(r)
        power = r.uniform(25e3, 90e3)
        staging = r.choice([0.0, 0.3])
        shift = r.choice([0.0, 0.05, 0.2])
        tops = [r.uniform(11, 14), r.uniform(17, 20), 200.0]
        track = [(r.uniform(10, 60), 0.0), (r.uniform(5, 25), 1 / r.uniform(6, 12)), (r.uniform(5, 40), 1 / r.uniform(15, 60)),
                 (r.uniform(10, 80), 0.0), (r.uniform(5, 15), -1 / r.uniform(5, 9)), (r.uniform(3, 9), 1 / r.uniform(5, 12)),
                 (r.uniform(20, 40), 1 / r.uniform(25, 80))]
        time, speed = straight(car, power, staging, 75.0, tops, shift)
        lap_time, energy = lap(car, power, track)
        rows = ";".join(f"{l!r}:{c!r}" for l, c in track)
        print(",".join([repr(x) for x in (car.m, car.mu, car.cda, car.cla, car.crr, car.rot, car.share, car.h, car.wb, car.rho,
              car.mub, power, staging, shift, *tops)] + [rows] + [repr(float(x)) for x in (time, speed, lap_time, energy)]), flush=True)


main()
