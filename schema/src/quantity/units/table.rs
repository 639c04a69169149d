//! The table of units, and names that people use for them.
//!
//! Factors are those of the SI Brochure and of NIST SP 811 (2008), appendix B.8.

/// Exponents of m, kg, s, A, K, mol, cd, points, decibel.
pub(super) type Exponents = [i16; 9];

const fn mechanical(m: i16, kg: i16, s: i16, a: i16) -> Exponents {
    [m, kg, s, a, 0, 0, 0, 0, 0]
}

/// Units with SI prefixes: name, factor, exponents.
pub(super) const PREFIXED: &[(&str, f64, Exponents)] = &[
    ("m", 1.0, mechanical(1, 0, 0, 0)),
    ("g", 1e-3, mechanical(0, 1, 0, 0)),
    ("s", 1.0, mechanical(0, 0, 1, 0)),
    ("A", 1.0, mechanical(0, 0, 0, 1)),
    ("K", 1.0, [0, 0, 0, 0, 1, 0, 0, 0, 0]),
    ("mol", 1.0, [0, 0, 0, 0, 0, 1, 0, 0, 0]),
    ("cd", 1.0, [0, 0, 0, 0, 0, 0, 1, 0, 0]),
    ("N", 1.0, mechanical(1, 1, -2, 0)),
    ("Pa", 1.0, mechanical(-1, 1, -2, 0)),
    ("J", 1.0, mechanical(2, 1, -2, 0)),
    ("W", 1.0, mechanical(2, 1, -3, 0)),
    ("Wh", 3600.0, mechanical(2, 1, -2, 0)),
    ("V", 1.0, mechanical(2, 1, -3, -1)),
    ("ohm", 1.0, mechanical(2, 1, -3, -2)),
    // The Greek letter, and the sign that compatibility characters have for the unit.
    ("\u{3a9}", 1.0, mechanical(2, 1, -3, -2)),
    ("\u{2126}", 1.0, mechanical(2, 1, -3, -2)),
    ("C", 1.0, mechanical(0, 0, 1, 1)),
    ("Ah", 3600.0, mechanical(0, 0, 1, 1)),
    ("F", 1.0, mechanical(-2, -1, 4, 2)),
    ("H", 1.0, mechanical(2, 1, -2, -2)),
    ("Hz", 1.0, mechanical(0, 0, -1, 0)),
    ("rad", 1.0, mechanical(0, 0, 0, 0)),
    ("l", 1e-3, mechanical(3, 0, 0, 0)),
    ("L", 1e-3, mechanical(3, 0, 0, 0)),
    ("bar", 1e5, mechanical(-1, 1, -2, 0)),
];

const FOOT: f64 = 0.3048;
const POUND: f64 = 0.453_592_37;
const GN: f64 = 9.806_65;
const DEGREE: f64 = std::f64::consts::PI / 180.0;
/// One degree Fahrenheit in kelvins, and 0 °F in kelvins.
const FAHRENHEIT: f64 = 5.0 / 9.0;
const ZERO_FAHRENHEIT: f64 = 459.67 * 5.0 / 9.0;
const KELVIN: Exponents = [0, 0, 0, 0, 1, 0, 0, 0, 0];

/// Units without SI prefixes: name, factor, exponents, offset.
pub(super) const PLAIN: &[(&str, f64, Exponents, f64)] = &[
    ("1", 1.0, mechanical(0, 0, 0, 0), 0.0),
    ("%", 1e-2, mechanical(0, 0, 0, 0), 0.0),
    ("ppm", 1e-6, mechanical(0, 0, 0, 0), 0.0),
    ("rev", std::f64::consts::TAU, mechanical(0, 0, 0, 0), 0.0),
    ("°", DEGREE, mechanical(0, 0, 0, 0), 0.0),
    ("deg", DEGREE, mechanical(0, 0, 0, 0), 0.0),
    ("min", 60.0, mechanical(0, 0, 1, 0), 0.0),
    ("h", 3600.0, mechanical(0, 0, 1, 0), 0.0),
    ("d", 86_400.0, mechanical(0, 0, 1, 0), 0.0),
    ("t", 1e3, mechanical(0, 1, 0, 0), 0.0),
    ("°C", 1.0, KELVIN, 273.15),
    ("degC", 1.0, KELVIN, 273.15),
    ("°F", FAHRENHEIT, KELVIN, ZERO_FAHRENHEIT),
    ("degF", FAHRENHEIT, KELVIN, ZERO_FAHRENHEIT),
    ("rpm", std::f64::consts::TAU / 60.0, mechanical(0, 0, -1, 0), 0.0),
    ("gn", GN, mechanical(1, 0, -2, 0), 0.0),
    ("hp", 550.0 * FOOT * POUND * GN, mechanical(2, 1, -3, 0), 0.0),
    ("in", FOOT / 12.0, mechanical(1, 0, 0, 0), 0.0),
    ("ft", FOOT, mechanical(1, 0, 0, 0), 0.0),
    ("yd", 3.0 * FOOT, mechanical(1, 0, 0, 0), 0.0),
    ("mi", 5280.0 * FOOT, mechanical(1, 0, 0, 0), 0.0),
    ("mph", 5280.0 * FOOT / 3600.0, mechanical(1, 0, -1, 0), 0.0),
    ("lb", POUND, mechanical(0, 1, 0, 0), 0.0),
    ("oz", POUND / 16.0, mechanical(0, 1, 0, 0), 0.0),
    ("lbf", POUND * GN, mechanical(1, 1, -2, 0), 0.0),
    ("kgf", GN, mechanical(1, 1, -2, 0), 0.0),
    ("psi", POUND * GN * 144.0 / (FOOT * FOOT), mechanical(-1, 1, -2, 0), 0.0),
    ("pts", 1.0, [0, 0, 0, 0, 0, 0, 0, 1, 0], 0.0),
    ("dB", 1.0, [0, 0, 0, 0, 0, 0, 0, 0, 1], 0.0),
];

pub(super) const PREFIXES: &[(&str, f64)] = &[
    ("da", 1e1),
    ("G", 1e9),
    ("M", 1e6),
    ("k", 1e3),
    ("h", 1e2),
    ("d", 1e-1),
    ("c", 1e-2),
    ("m", 1e-3),
    ("µ", 1e-6),
    ("μ", 1e-6),
    ("u", 1e-6),
    ("n", 1e-9),
];

/// Units that are part of an angle: with a time below them they are a shaft speed.
pub(super) const ANGLES: &[&str] = &["rad", "mrad", "deg", "°", "rev", "rpm"];

/// Unit names that are suggested for a mistyped one.
pub(super) const LIKELY: &[&str] = &[
    "mm", "cm", "km", "kg", "ms", "kN", "kW", "kJ", "MJ", "kWh", "MPa", "GPa", "kPa", "N", "s", "m", "g", "W", "J",
    "V", "A", "K", "l", "bar", "min", "h", "deg", "rpm", "gn", "hp", "pts", "EUR", "USD", "%", "°C", "rad", "Hz",
    "psi", "lbf", "kgf", "degC", "degF", "rev", "ppm", "ohm",
];

/// Common names of units that have another name here.
pub(super) const OTHERWISE: &[(&str, &str)] = &[
    ("sec", "s"),
    ("secs", "s"),
    ("seconds", "s"),
    ("hr", "h"),
    ("hrs", "h"),
    ("kmh", "km/h"),
    ("lbs", "lb"),
    ("Nm", "N*m"),
    ("points", "pts"),
    ("pt", "pts"),
    ("percent", "%"),
    ("second", "s"),
    ("minutes", "min"),
    ("mins", "min"),
    ("hours", "h"),
    ("Ncm", "N*cm"),
    ("Nmm", "N*mm"),
    ("kNm", "kN*m"),
    ("ftlb", "lbf*ft"),
    ("ftlbs", "lbf*ft"),
    ("degree", "deg"),
    ("degrees", "deg"),
    ("celsius", "°C"),
    ("Celsius", "°C"),
    ("ºC", "°C"),
    ("celcius", "°C"),
    ("Fahrenheit", "°F"),
    ("micron", "µm"),
    ("microns", "µm"),
    ("liter", "l"),
    ("liters", "l"),
    ("litre", "l"),
    ("litres", "l"),
    ("cc", "cm^3"),
    ("kilo", "kg"),
    ("kilos", "kg"),
    ("meter", "m"),
    ("metre", "m"),
    ("meters", "m"),
    ("metres", "m"),
    ("feet", "ft"),
    ("foot", "ft"),
    ("mile", "mi"),
    ("miles", "mi"),
    ("ounce", "oz"),
    ("PS", "hp"),
    ("bhp", "hp"),
    ("kph", "km/h"),
    ("$", "USD"),
    ("£", "GBP"),
    ("G", "gn"),
    ("euro", "EUR"),
    ("euros", "EUR"),
    ("KG", "kg"),
    ("Kg", "kg"),
    ("kgs", "kg"),
    ("KW", "kW"),
    ("Kw", "kW"),
    ("inch", "in"),
    ("RPM", "rpm"),
    ("m²", "m^2"),
    ("m³", "m^3"),
    ("mm²", "mm^2"),
    ("m2", "m^2"),
    ("m3", "m^3"),
    ("mm2", "mm^2"),
];
