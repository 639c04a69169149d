"""Creates trace/tests/numbers/unit_table.csv with the PyPI package pint, as an independent reference for units.

    python3 -m venv pint-env && pint-env/bin/pip install pint==0.25.3
    pint-env/bin/python trace/tests/numbers/unit_table.py > trace/tests/numbers/unit_table.csv

One row: an expression in tierod's notation, its value in SI base units, and its SI unit.
"""

import random

import pint

ureg = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)

PREFIXES = {
    "": "", "da": "deca", "G": "giga", "M": "mega", "k": "kilo", "h": "hecto", "d": "deci", "c": "centi",
    "m": "milli", "µ": "micro", "u": "micro", "n": "nano",
}
PREFIXED = {
    "m": "meter", "g": "gram", "s": "second", "A": "ampere", "K": "kelvin", "mol": "mole", "cd": "candela",
    "N": "newton", "Pa": "pascal", "J": "joule", "W": "watt", "Wh": "watt_hour", "V": "volt", "ohm": "ohm",
    "C": "coulomb", "Ah": "ampere_hour", "F": "farad", "H": "henry", "Hz": "hertz", "rad": "radian", "l": "liter",
    "L": "liter", "bar": "bar", "Ω": "ohm",
}
PLAIN = {
    "%": "percent", "°": "degree", "deg": "degree", "min": "minute", "h": "hour", "d": "day", "t": "metric_ton",
    "°C": "degree_Celsius", "rpm": "revolutions_per_minute", "gn": "standard_gravity", "hp": "horsepower",
    "in": "inch", "ft": "foot", "mph": "mile_per_hour", "lb": "pound", "lbf": "force_pound",
    "psi": "pound_force_per_square_inch", "mi": "mile", "yd": "yard", "oz": "ounce", "kgf": "kilogram_force",
    "degC": "degree_Celsius", "°F": "degree_Fahrenheit", "degF": "degree_Fahrenheit", "rev": "revolution", "ppm": "ppm",
}
OFFSET = ("°C", "degC", "°F", "degF")
BASE = ["meter", "kilogram", "second", "ampere", "kelvin", "mole", "candela"]
SIGNS = {"meter": "m", "kilogram": "kg", "second": "s", "ampere": "A", "kelvin": "K", "mole": "mol", "candela": "cd"}


def quantity(number, name):
    return ureg.Quantity(number, UNITS[name]) if name in UNITS else ureg.Quantity(number, ureg.parse_units(name))


def prefixed():
    for prefix, word in PREFIXES.items():
        for name, base in PREFIXED.items():
            # A name with its own meaning is not a prefix and a unit.
            if prefix + name in PLAIN or (prefix and prefix + name in PREFIXED):
                continue
            if base == "ampere_hour":
                yield prefix + name, ureg.parse_units(f"{word}ampere * hour")
            else:
                yield prefix + name, ureg.parse_units(word + base)


UNITS = dict(prefixed())
UNITS.update({name: ureg.parse_units(base) for name, base in PLAIN.items()})

# Units that teams use.
COMPOUND = {
    "km/h": "kilometer/hour", "kg/m^3": "kilogram/meter**3", "N*m": "newton*meter", "kN*m/deg": "kilonewton*meter/degree",
    "N/mm": "newton/millimeter", "N/mm^2": "newton/millimeter**2", "g/kWh": "gram/kilowatt/hour", "l/min": "liter/minute",
    "m/s^2": "meter/second**2", "lbf/in": "force_pound/inch", "lbf*ft": "force_pound*foot", "W/kg": "watt/kilogram",
    "kWh/km": "kilowatt*hour/kilometer", "W/m^2/K": "watt/meter**2/kelvin", "J/kg/K": "joule/kilogram/kelvin",
    "1/m": "1/meter", "rad/s": "radian/second", "deg/s": "degree/second", "g/cm^3": "gram/centimeter**3",
    "mm^2": "millimeter**2", "cm^3": "centimeter**3", "in^3": "inch**3", "ft^2": "foot**2", "A/mm^2": "ampere/millimeter**2",
    "lb/ft^3": "pound/foot**3", "hp/lb": "horsepower/pound", "ohm/km": "ohm/kilometer", "%/K": "percent/kelvin",
    "kg*m^2": "kilogram*meter**2", "N*s/m": "newton*second/meter", "MPa*m^3": "megapascal*meter**3", "m^-1": "meter**-1",
    "rev/min": "revolution/minute", "kgf/cm^2": "kilogram_force/centimeter**2", "oz/yd^2": "ounce/yard**2", "mi/h": "mile/hour",
    "ppm/K": "ppm/kelvin", "kgf*m": "kilogram_force*meter", "Ω*m": "ohm*meter", "deg/h": "degree/hour", "rev/s": "revolution/second",
    "psi/lbf": "pound_force_per_square_inch/force_pound", "gn*s": "standard_gravity*second", "V*A": "volt*ampere",
}
UNITS.update({name: ureg.parse_units(text) for name, text in COMPOUND.items()})


def row(kind, text, value):
    base = value.to_base_units()
    factor = base.magnitude
    dimension = []
    for name, exponent in sorted(base.unit_items(), key=lambda item: (BASE + ["radian"]).index(item[0])):
        near = round(float(exponent), 9)
        if name == "radian" or near == 0:
            continue
        if near != int(near):
            return
        dimension.append(SIGNS[name] if near == 1 else f"{SIGNS[name]}^{int(near)}")
    if max([abs(int(part.split("^")[1])) for part in dimension if "^" in part] or [1]) > 9:
        return
    print(f"{kind},{text},{float(factor)!r},{'*'.join(dimension) or '1'}")


print("kind,text,si,unit")
for name in UNITS:
    for number in (1.0, 36.6):
        if name in OFFSET and number == 1.0:
            number = -40.0
        row("quantity", f"{number!r} {name}", quantity(number, name))

random.seed(27)
NAMES = [name for name in UNITS if name not in (*OFFSET, "1/m") and not any(c in name for c in "µu")]


def some():
    number = round(random.uniform(0.2, 30.0), 3)
    name = random.choice(NAMES)
    return f"{number!r} {name}", quantity(number, name)


def same(value):
    """A quantity of the same dimension in another unit."""
    names = [name for name in NAMES if UNITS[name].dimensionality == value.dimensionality]
    number, name = round(random.uniform(0.2, 30.0), 3), random.choice(names)
    return f"{number!r} {name}", quantity(number, name)


for _ in range(120):
    (a, x), (b, y) = some(), some()
    row("formula", f"{a} * {b}", x * y)
    row("formula", f"{a} / {b}", x / y)
    row("formula", f"({a})^2 * {b}", x**2 * y)
    row("formula", f"({a})^-1 / ({b})^2", x**-1 / y**2)
    row("formula", f"sqrt({a}) * sqrt({a} * ({b})^2)", x**0.5 * (x * y**2) ** 0.5)
    row("formula", f"(({a})^3 * ({b})^6)^(1 / 3)", (x**3 * y**6) ** (1 / 3))
    row("formula", f"({a})^1.5 / ({a})^0.5", x**1.5 / x**0.5)
    (c, z) = same(x)
    row("formula", f"{a} + {c}", x.to_base_units() + z.to_base_units())
    row("formula", f"{a} - {c}", x.to_base_units() - z.to_base_units())
    row("formula", f"({a} + {c}) * {b}", (x.to_base_units() + z.to_base_units()) * y)
    row("formula", f"sqrt({a} / {c})", (x.to_base_units() / z.to_base_units()) ** 0.5)
    row("formula", f"-({a} - {c}) / (2 * {b})", -(x.to_base_units() - z.to_base_units()) / (2 * y))
