#!/usr/bin/env python3
"""Holds bench sheets and their pictures against parsers that know nothing of the project.

Pages are read by html5lib in strict mode, which follows the parsing algorithm of the HTML Standard and raises on every parse
error; pictures by Python's XML parser. Then, on the parsed tree: headings in order, tables with captions and scopes, pictures
with titles, ids that are there once and references that meet one, boxes with names, nothing that loads or runs.

It needs Python 3.10 or later, html5lib, and the binary in $DASHWRIGHT. The jobs are every radio that the service lists for
some vehicles of the demo catalogue.
"""

from __future__ import annotations

import os
import re
import sys
import xml.etree.ElementTree as ElementTree

import html5lib

from _served import Server

HTML, SVG = "{http://www.w3.org/1999/xhtml}", "{http://www.w3.org/2000/svg}"
# A vehicle of each kind of dash, by words, with the code of its audio option.
VEHICLES = [
    ("2013 orvane tamsel hatchback", "A8"),
    ("2019 orvane ulvero", "A10"),
    ("2005 brennholt falkrand", "B4"),
    ("2019 orvane tamsel", "A10"),
]
RADIOS_LEAST = 20
CHECKED = 0


def check(holds: bool, what: str) -> None:
    global CHECKED
    assert holds, what
    CHECKED += 1


def page(text: str, what: str) -> None:
    tree = html5lib.HTMLParser(strict=True).parse(text)
    elements = list(tree.iter())
    named = [element for element in elements if isinstance(element.tag, str)]
    check(tree.get("lang") == "en", f"{what}: no language")
    check(bool(tree.findtext(f"{HTML}head/{HTML}title")), f"{what}: no title")
    level = 0
    for element in named:
        if re.fullmatch(rf"{re.escape(HTML)}h[1-6]", element.tag):
            check(int(element.tag[-1]) <= level + 1, f"{what}: h{element.tag[-1]} after h{level}")
            level = int(element.tag[-1])
    check(sum(element.tag == f"{HTML}h1" for element in named) == 1, f"{what}: not one h1")
    for table in tree.iter(f"{HTML}table"):
        check(table.find(f"{HTML}caption") is not None, f"{what}: a table without caption")
        columns = len(table.findall(f"{HTML}thead/{HTML}tr/{HTML}th"))
        for row in table.findall(f"{HTML}tbody/{HTML}tr"):
            cells = sum(int(cell.get("colspan", "1")) for cell in row)
            check(cells == columns, f"{what}: a row of {cells} cells under {columns}")
            check(any(cell.tag == f"{HTML}th" and cell.get("scope") == "row" for cell in row), f"{what}: no row header")
        check(all(cell.get("scope") for cell in table.iter(f"{HTML}th")), f"{what}: a th without scope")
    ids = [element.get("id") for element in named if element.get("id")]
    check(len(ids) == len(set(ids)), f"{what}: an id twice")
    for drawing in tree.iter(f"{SVG}svg"):
        titled(drawing, ids, what)
    for element in named:
        if element.tag == f"{HTML}input":
            check(bool(element.get("aria-label")), f"{what}: a box without a name")
        runs = [name for name in element.keys() if str(name).lower().startswith("on")]
        loads = [name for name in element.keys() if str(name).split("}")[-1] in ("src", "href", "action", "data")]
        check(not runs and not loads, f"{what}: {element.tag} has {runs + loads}")
        check(element.tag.split("}")[-1] not in ("script", "link", "img", "iframe", "object"), f"{what}: {element.tag}")
    style = "".join(element.text or "" for element in tree.iter(f"{HTML}style"))
    check("@import" not in style and "url(" not in style, f"{what}: the style loads something")
    check(style.count("{") == style.count("}") and "@page" in style, f"{what}: the style is not whole")


def titled(drawing: ElementTree.Element, ids: list[str], what: str) -> None:
    if drawing.get("aria-hidden") == "true":
        return
    title = drawing.find(f"{SVG}title")
    check(title is not None and bool(title.text), f"{what}: a picture without title")
    for name in (drawing.get("aria-labelledby") or "-").split():
        check(name in ids, f"{what}: `{name}` names nothing")


def picture(text: str, what: str) -> None:
    drawing = ElementTree.fromstring(text)
    check(drawing.tag == f"{SVG}svg" and drawing.get("role") == "img", f"{what}: no picture")
    titled(drawing, [element.get("id") for element in drawing.iter() if element.get("id")], what)
    left, top, width, height = map(float, drawing.get("viewBox").split())
    slack = 0.01 * max(width, height)
    for element in drawing.iter(f"{SVG}rect"):
        x, y, w, h = (float(element.get(name)) for name in ("x", "y", "width", "height"))
        inside = left - slack <= x and x + w <= left + width + slack and top - slack <= y and y + h <= top + height + slack
        check(inside, f"{what}: a rectangle at {x} {y} lies outside")
    for element in drawing.iter(f"{SVG}text"):
        x, y, size = (float(element.get(name)) for name in ("x", "y", "font-size"))
        # Half the size for a letter, as sans-serif letters have on average.
        long = len(element.text or "") * size * 0.5
        start = {"start": x, "middle": x - long / 2, "end": x - long}[element.get("text-anchor")]
        inside = left - slack <= start and start + long <= left + width + slack and top <= y <= top + height
        check(inside, f"{what}: `{element.text}` lies outside")


def main() -> None:
    server = Server(os.environ["DASHWRIGHT"])
    sheets = pictures = 0
    try:
        for words, audio in VEHICLES:
            vehicle = [*words.split(), "--audio", audio]
            radios = server.json("radios", *vehicle, "--page-size", "50")["radios"]
            for radio in (entry["radio"]["id"] for entry in radios):
                what = f"{radio} in {words}"
                asked = ["sheet", "--radio", radio, *vehicle]
                page(server.json(*asked)["html"], what)
                sheets += 1
                for kind in ("dash", "side", "switches", "plug"):
                    for one in server.json(*asked, "--picture", kind).get("pictures", []):
                        picture(one["svg"], f"{kind} of {what}")
                        pictures += 1
    finally:
        server.stop()
    check(sheets >= RADIOS_LEAST, f"only {sheets} sheets")
    print(f"{sheets} sheets and {pictures} pictures, {CHECKED} checks hold")


if __name__ == "__main__":
    sys.exit(main())
