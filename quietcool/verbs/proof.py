"""The verb that checks a certificate, and what `quietest` needs to write one."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quietcool.errors import InputError, Mistake
from quietcool.show.versions import own_version
from quietcool.units import clean
from quietcool.verbs.options import AsJson, BuildFile
from quietcool.verbs.telling import tell_json, tell_parts

if TYPE_CHECKING:
    from quietcool.decide.bound.log import SearchLog
    from quietcool.decide.quietest import Quietest
    from quietcool.entry.build import Build

Certificate = Annotated[
    str | None,
    typer.Option("--certificate", metavar="FILE", help="Write what `quietcool verify` can check the proof by."),
]


def verify(
    certificate: Annotated[str, typer.Argument(metavar="FILE", help="Certificate of `quietest`.", show_default=False)],
    build: BuildFile,
    json: AsJson = False,
) -> int:
    """Check whether a certificate proves its claim.

    Every bound is computed again by other code than the search's, and no setting is searched. Exit code 3 if refuted.
    """
    from quietcool.decide.checker.verify import verify_certificate
    from quietcool.entry.buildfile import read_build
    from quietcool.show import verification
    from quietcool.show.progress import ProgressLine

    rig = read_build(build)
    with ProgressLine(sys.stderr) as progress:
        verdict = verify_certificate(Path(certificate), rig, verification.telling(progress))
    code = 0 if verdict.proven else 3
    if json:
        return tell_json(verification.verify_answer(rig, verdict), code)
    return tell_parts(verification.verify_sentences(verdict), code)


def logs_for(certificate: str | None, minimise: str, build_file: str, rig: Build) -> dict[str, SearchLog] | None:
    """Return where the search is to leave its log; None without a certificate."""
    from quietcool.entry.writing import refuse_place

    if certificate is None:
        return None
    if minimise != "dba":
        raise InputError(
            [Mistake("--certificate", None, None, "", "a level to be proven", f"--minimise {clean(minimise)}",
                     "leave --minimise out")]
        )  # fmt: skip
    refuse_place(Path(certificate), Path(build_file), rig)
    return {}


def certify(certificate: str | None, rig: Build, answer: Quietest, logs: Mapping[str, SearchLog] | None) -> None:
    """Write the certificate that was asked for."""
    from quietcool.decide.certificate import write_certificate

    if certificate is not None and logs is not None:
        write_certificate(Path(certificate), rig, answer, logs, made_by=own_version())
