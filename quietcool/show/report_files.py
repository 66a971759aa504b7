"""The files that a report is made of, and what is said about them."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

from quietcool.entry.build import Build
from quietcool.entry.writing import made_folder, write_whole
from quietcool.show import handover
from quietcool.show.dossier import Dossier
from quietcool.show.files import table_csv
from quietcool.show.images import write_images
from quietcool.show.json_answers import FORMAT, Answer, envelope
from quietcool.show.look import Picture
from quietcool.show.report import Section, report_html, report_sections


def write_report(dossier: Dossier, output: Path, csv: Path | None = None, images: Path | None = None) -> list[Path]:
    """Write the report, and where wished its tables and pictures.

    Returns
    -------
    list of Path
        What was written, the report first.
    """
    sections = report_sections(dossier)
    write_whole(output, report_html(dossier, sections))
    written = [output]
    if csv is not None:
        written += write_tables(dossier, sections, csv)
    if images is not None:
        written += write_images(pictures_of(sections), images)
    return written


def pictures_of(sections: Sequence[Section]) -> list[Picture]:
    """Return every picture of a report in its order."""
    return [picture for section in sections for picture in section.pictures]


def write_tables(dossier: Dossier, sections: Sequence[Section], folder: Path) -> list[Path]:
    """Write every table of a report as comma-separated values, numbered in its order."""
    made_folder(folder)
    sheets = [handover.channel_table(dossier), handover.promises(dossier), handover.parts_list(dossier.build)]
    named = [(sheet.title, sheet.columns, sheet.rows) for sheet in sheets]
    for section in sections:
        named += [(picture.name, picture.columns, picture.rows) for picture in section.pictures]
        named += [(sheet.title, sheet.columns, sheet.rows) for sheet in (*section.tables, *section.folded)]
    written = []
    for place, (name, columns, rows) in enumerate(named, start=1):
        path = folder / f"{place:02d}-{file_name(name)}.csv"
        write_whole(path, table_csv(columns, rows))
        written.append(path)
    return written


def file_name(title: str) -> str:
    """Return a title as part of a file name.

    >>> file_name("Limits: every limit is kept")
    'limits-every-limit-is-kept'
    """
    kept = "".join(c if c.isascii() and c.isalnum() else " " for c in title.lower())
    return "-".join(kept.split())[:60].rstrip("-") or "table"


def report_sentence(written: Sequence[Path]) -> str:
    """Return what was written, in one sentence."""
    first = f"Report written to {written[0]} ({written[0].stat().st_size / 1e6:.1f} MB)"
    more = len(written) - 1
    return f"{first}, and {more} more files beside it." if more else f"{first}."


def report_answer(build: Build, written: Sequence[Path]) -> Answer:
    """Return the answer of `report`."""
    files = [
        {"file": str(path), "bytes": len(body), "sha256": hashlib.sha256(body).hexdigest()}
        for path, body in ((path, path.read_bytes()) for path in written)
    ]
    return {"format": FORMAT, "written": files, **envelope(build)}
