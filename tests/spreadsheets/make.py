#!/usr/bin/env python3
"""Makes the spreadsheets that tests/records_import.rs reads, with the writers of other programs.

    python3 -m venv venv && venv/bin/pip install openpyxl pandas xlsxwriter odfpy
    venv/bin/python tests/spreadsheets/make.py [FOLDER]

LibreOffice (`soffice`) converts two of them; without it they are not made again. Every file holds the same bill of
materials of a fictional car, as another team would have written it. `totals.json` has the sums that the writers see,
calculated here with Python's decimals.
"""

import datetime
import json
import pathlib
import shutil
import subprocess
import sys
from decimal import Decimal

import openpyxl
import pandas

OUT = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else pathlib.Path(__file__).parent)

# Part number, title, section, count, mass of one in g, price of one in EUR, state.
PARTS = [
    ("BR-001", "Brake disc, front", "Brakes", 2, "812.5", "48.9", "CAD"),
    ("BR-002", "Caliper, two pistons", "Brakes", 4, "385", "129", "scales"),
    ("BR-003", "Pedal box", "Brakes", 1, "1234.56", "215.75", "CAD"),
    ("BR-004", "Brake line: front, braided", "Brakes", 2, "96.1", "18.35", "estimate"),
    ("SU-001", "Wishbone, upper front", "Suspension", 2, "410.05", "61.2", "CAD"),
    ("SU-002", "Wishbone, lower front", "Suspension", 2, "455.3", "64", "CAD"),
    ("SU-003", "Damper", "Suspension", 4, "1289", "340.1", "scales"),
    ("SU-004", "Rocker \"left\" & 'right'", "Suspension", 4, "210.7", "75.55", "CAD"),
    ("FW-001", "Front wing, main element", "Front wing", 1, "1875.25", "96.4", "CAD"),
    ("FW-002", "End plate", "Front wing", 2, "240.333", "12.05", "estimate"),
]
SECTIONS = ["Brakes", "Suspension", "Front wing"]


def total(at, parts=PARTS):
    return sum((Decimal(part[3]) * Decimal(part[at]) for part in parts), Decimal(0))


totals = {}


def note(name, mass=None, cost=None):
    totals[name] = {"mass": str(total(4) if mass is None else mass), "cost": str(total(5) if cost is None else cost)}


def openpyxl_plain():
    """Numbers as numbers, blank rows, a title above, numbers that are shown rounded."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Parts"
    sheet["A1"] = "Bill of materials, car 9"
    sheet.append([])
    sheet.append(["Part no.", "Description", "Section", "Qty", "Mass [g]", "Price [EUR]", "State"])
    for index, (part, title, section, count, mass, cost, state) in enumerate(PARTS):
        if index in (4, 8):
            sheet.append([])
        sheet.append([part, title, section, count, float(mass), float(cost), state])
        sheet.cell(sheet.max_row, 5).number_format = "0"
    book.create_sheet("Notes")["A1"] = "Nothing to import"
    book.save(OUT / "openpyxl.xlsx")
    note("openpyxl.xlsx")


def openpyxl_subtotals():
    """Two header rows with merged cells, merged sections, subtotals, formulas without a cached value."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Part no.", "Description", "Section", "Qty", "Mass [g]", None, "Price [EUR]", "State"])
    sheet.append([None, None, None, None, "each", "total", None, None])
    for column in "ABCDGH":
        sheet.merge_cells(f"{column}1:{column}2")
    sheet.merge_cells("E1:F1")
    for section in SECTIONS:
        first = sheet.max_row + 1
        for part, title, own, count, mass, cost, state in (p for p in PARTS if p[2] == section):
            row = sheet.max_row + 1
            sheet.append([part, title, own if row == first else None, count, float(mass), f"=D{row}*E{row}",
                          float(cost), state])
        last = sheet.max_row
        sheet.merge_cells(f"C{first}:C{last}")
        mass = float(total(4, [p for p in PARTS if p[2] == section]))
        sheet.append([None, f"Subtotal {section}", None, None, mass, None, None, None])
    sheet.append([None, "Total", None, None, float(total(4)), None, float(total(5)), None])
    # The price of one part is a formula that no program has calculated yet.
    sheet["G3"] = "=2*24.45"
    book.save(OUT / "openpyxl-merged.xlsx")
    note("openpyxl-merged.xlsx", cost=total(5) - Decimal(2) * Decimal("48.9"))


def pandas_xlsx():
    """pandas with xlsxwriter: a column of the index, a date, numbers as text in one row."""
    frame = pandas.DataFrame(
        {
            "Part no.": [p[0] for p in PARTS],
            "Description": [p[1] for p in PARTS],
            "Section": [p[2] for p in PARTS],
            "Qty": [p[3] for p in PARTS],
            "Mass [g]": [float(p[4]) if i != 3 else p[4] for i, p in enumerate(PARTS)],
            "Price [EUR]": [float(p[5]) for p in PARTS],
            "State": [p[6] for p in PARTS],
            "Weighed on": [datetime.date(2027, 2, 1 + i) for i in range(len(PARTS))],
        }
    )
    frame.to_excel(OUT / "pandas.xlsx", engine="xlsxwriter", sheet_name="BOM")
    note("pandas.xlsx")
    frame.to_excel(OUT / "pandas.ods", engine="odf", sheet_name="BOM", index=False)
    note("pandas.ods")
    frame.to_csv(OUT / "pandas.csv", index=False)
    note("pandas.csv")


def grouped(number, thousands, mark, places):
    """A number as a country writes it."""
    text = f"{Decimal(number):,.{places}f}"
    return text.replace(",", "T").replace(".", mark).replace("T", thousands)


def country(name, head, delimiter, thousands, mark, encoding, total_word, eol="\r\n", quote=False, places=3):
    lines = [delimiter.join(head)]
    for part, title, section, count, mass, cost, state in PARTS:
        title = title.replace('"', '""')
        cells = [part, f'"{title}"', section, str(count), grouped(mass, thousands, mark, places),
                 grouped(cost, thousands, mark, 2), state]
        if quote:
            cells[4:6] = [f'"{cell}"' for cell in cells[4:6]]
        lines.append(delimiter.join(cells))
    lines.append(delimiter * (len(head) - 1))
    sums = [grouped(total(4), thousands, mark, places), grouped(total(5), thousands, mark, 2)]
    if quote:
        sums = [f'"{cell}"' for cell in sums]
    lines.append(delimiter.join([total_word, "", "", "", *sums, ""]))
    (OUT / name).write_bytes((eol.join(lines) + eol).encode(encoding))
    note(name)


def countries():
    german = ["Teilenummer", "Bezeichnung", "Baugruppe", "Stück", "Masse [g]", "Preis [€]", "Stand"]
    country("german.csv", german, ";", ".", ",", "cp1252", "Summe")
    country("swiss.csv", german, ";", "\u2019", ".", "utf-8-sig", "Gesamtsumme")
    english = ["Part no.", "Description", "Section", "Qty", "Mass [g]", "Price [EUR]", "State"]
    country("british.csv", english, ",", ",", ".", "utf-8", "Total", eol="\n", quote=True)
    french = ["Référence", "Désignation", "Ensemble", "Quantité", "Masse [g]", "Prix [€]", "État"]
    country("french.csv", french, ";", "\u202f", ",", "utf-8", "Total général")
    country("utf-16.csv", french, "\t", "\u00a0", ",", "utf-16", "Total général")


def libreoffice():
    """The same sheet saved by LibreOffice, which also calculates the formulas."""
    if not shutil.which("soffice"):
        print("soffice is missing: its files are not made again")
        return
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Part no.", "Description", "Section", "Qty", "Mass [g]", "Price [EUR]", "State", "Mass, total [g]"])
    for part, title, section, count, mass, cost, state in PARTS:
        row = sheet.max_row + 1
        # The mass of one piece is a formula, too: half of the mass of two.
        sheet.append([part, title, section, count, f"={mass}*2/2", float(cost), state, f"=D{row}*E{row}"])
    last = sheet.max_row
    sheet.append([None, None, None, None, f"=SUM(E2:E{last})", f"=SUM(F2:F{last})", None, f"=SUM(H2:H{last})"])
    source = OUT / "libreoffice-source.xlsx"
    book.save(source)
    for form, name in [("xlsx:Calc MS Excel 2007 XML", "libreoffice.xlsx"), ("ods", "libreoffice.ods")]:
        folder = OUT / "converted"
        subprocess.run(["soffice", "--headless", "--convert-to", form, "--outdir", folder, source], check=True)
        made = folder / f"libreoffice-source.{form.split(':')[0]}"
        made.replace(OUT / name)
        shutil.rmtree(folder)
        note(name)
    source.unlink()


OUT.mkdir(parents=True, exist_ok=True)
known = OUT / "totals.json"
totals.update(json.loads(known.read_text()) if known.exists() else {})
for make in [openpyxl_plain, openpyxl_subtotals, pandas_xlsx, countries, libreoffice]:
    make()
known.write_text(json.dumps(totals, indent=1, sort_keys=True) + "\n")
