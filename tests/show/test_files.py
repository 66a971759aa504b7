"""Tables as files take no text for a formula."""

from __future__ import annotations

import csv

from quietcool.show.files import table_csv


def test_a_spreadsheet_takes_no_text_for_a_formula() -> None:
    text = table_csv(("a", ">b"), [("=HYPERLINK(1)", "-1.5"), ("+x", "-"), ("@y", "1e-3"), ("-z", "2, 3")])
    rows = list(csv.reader(text.splitlines()))
    assert rows == [["a", "b"], ["'=HYPERLINK(1)", "-1.5"], ["'+x", ""], ["'@y", "1e-3"], ["'-z", "2, 3"]]
