#!/usr/bin/env python3
"""Makes the bill of materials of the brakes in the example car, `example-car/cad/bom.xlsx`.

    python3 -m venv venv && venv/bin/pip install openpyxl
    venv/bin/python tests/spreadsheets/make_bom.py [FILE]

It has the numbers of 9 March 2027. The same bytes come out on any day.
"""

import datetime
import io
import pathlib
import re
import sys
import zipfile

import openpyxl

EXAMPLE = pathlib.Path(__file__).parents[2] / "example-car/cad/bom.xlsx"
OUT = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else EXAMPLE
DAY = datetime.datetime(2027, 3, 9, 18, 0, 0)

# Part, description, pieces, mass of one in g and where it is from, price of one in EUR and where it is from.
PARTS = [
    ("Front caliper", "Front caliper, two pistons", 2, 580, "scales", 132, "invoice"),
    ("Rear caliper", "Rear caliper, two small pistons", 2, 350, "scales", 118, "invoice"),
    ("Front disc", "Front disc, floating, 190 mm", 2, 600, "CAD", 62, "quote"),
    ("Rear disc", "Rear disc, floating, 180 mm", 2, 430, "CAD", 56, "quote"),
    ("Brake pad", "Brake pad", 8, 90, "scales", 11, "invoice"),
    ("Master cylinder", "Master cylinder", 2, 290, "scales", 74, "invoice"),
    ("Balance bar", "Balance bar", 1, 410, "scales", 88, "invoice"),
    ("Brake pedal", "Brake pedal, bent and welded sheet", 1, 580, "scales", 64, "invoice"),
    ("Pedal box base", "Base plate of the pedal box", 1, 1100, "CAD", 84, "quote"),
    ("Brake line set", "Lines and fittings", 1, 660, "hand", 122, "quote"),
    ("Overtravel switch", "Over-travel switch", 1, 70, "scales", 18, "invoice"),
]

book = openpyxl.Workbook()
sheet = book.active
sheet.title = "Brakes"
sheet["A1"] = "Tarnmoor Student Racing, T9: bill of materials of the brakes"
sheet.append([])
sheet.append(["Part", "Description", "Qty", "Mass [g]", "Mass from", "Price [EUR]", "Price from"])
for row in PARTS:
    sheet.append(row)
sheet.append([])
mass = sum(part[2] * part[3] for part in PARTS)
cost = sum(part[2] * part[5] for part in PARTS)
sheet.append(["Total", None, sum(part[2] for part in PARTS), mass, None, cost, None])
for column, width in zip("ABCDEFG", (20, 36, 6, 10, 11, 12, 11)):
    sheet.column_dimensions[column].width = width

# A workbook contains the time of writing, in its properties and for each file of the archive.
book.properties.created = DAY
written = io.BytesIO()
book.save(written)
with zipfile.ZipFile(written) as made, zipfile.ZipFile(OUT, "w", zipfile.ZIP_DEFLATED) as out:
    for name in made.namelist():
        data = made.read(name)
        if name == "docProps/core.xml":
            data = re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>" + DAY.strftime("%Y-%m-%dT%H:%M:%SZ").encode(), data)
        info = zipfile.ZipInfo(name, DAY.timetuple()[:6])
        info.compress_type = zipfile.ZIP_DEFLATED
        out.writestr(info, data)
