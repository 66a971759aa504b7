"""The report: one file that asks nothing of any network, sections in the order of the user's questions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from markupsafe import Markup

from quietcool.entry.build import Build
from quietcool.entry.findings import check_build
from quietcool.show import handover, plots, tables, wording
from quietcool.show.assumptions import CAUTIONS, assumptions
from quietcool.show.console import number
from quietcool.show.dossier import Dossier
from quietcool.show.handover import Sheet
from quietcool.show.json_answers import origins
from quietcool.show.layouts_answer import reason_sentence, worth_sentence
from quietcool.show.look import Picture
from quietcool.show.pages import (
    LIBRARY,
    asset,
    figure_script,
    ink_pairs,
    plain_table,
    script_hash,
    style,
    templates,
)
from quietcool.show.tradeoff_answer import tradeoff_sentences
from quietcool.show.uncertainty import percent
from quietcool.show.versions import made_by
from quietcool.solve.heard import listen

MOST_SPECTRA = 3


class Listing(NamedTuple):
    """Sentences under a title."""

    title: str
    lines: Sequence[str]


class Section(NamedTuple):
    """One question of the user with its answer."""

    name: str
    question: str
    answers: Sequence[str]
    pictures: Sequence[Picture] = ()
    tables: Sequence[Sheet] = ()
    lists: Sequence[Listing] = ()
    folded: Sequence[Sheet] = ()


def report_html(dossier: Dossier, sections: Sequence[Section]) -> str:
    """Return the report as one HTML file; the same dossier gives the same bytes."""
    build = dossier.build
    library, figures = asset(LIBRARY).rstrip("\n"), asset("figures.js").rstrip("\n")
    policy = (
        f"default-src 'none'; script-src {script_hash(library)} {script_hash(figures)}; style-src 'unsafe-inline'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
    channels, promises = handover.channel_table(dossier), handover.promises(dossier)
    parts = handover.parts_list(build)
    return templates().get_template("report.html").render(
        title=build.title,
        policy=policy,
        style=style(),
        made_by=made_by(),
        fingerprint=next(iter(build.inputs.values()), "")[:12],
        invented=any(entry.origin == "invented" for entry in build.ledger),
        summary=handover.summary(dossier),
        channels=handover.blocks(channels, 2, 1),
        promises=handover.blocks(promises, 2),
        parts=parts,
        print_size=handover.print_size((channels, promises, parts)),
        validity=handover.validity(dossier),
        upkeep=handover.UPKEEP,
        warnings=handover.WARNINGS,
        sections=sections,
        script=figure_script,
        inks=ink_pairs(),
        library=Markup(library),
        figures=Markup(figures),
    ) + "\n"  # fmt: skip


def report_sections(dossier: Dossier) -> list[Section]:
    """Return every question with its answer, pictures and tables."""
    found = [_speeds(dossier)]
    if dossier.setting.points[dossier.focus].converged:
        found += [_cool(dossier), _kelvin(dossier), *_layouts(dossier), *_heard(dossier), _sure(dossier)]
    return [*found, _basis(dossier)]


def _speeds(dossier: Dossier) -> Section:
    build, answer, setting = dossier.build, dossier.answer, dossier.setting
    state, point = build.state(dossier.focus), setting.points[dossier.focus]
    pictures = []
    if point.converged:
        called = "quietest" if setting.status != "infeasible" else "least violated"
        where = [p.name for p in build.positions].index(answer.position)
        pictures = [plots.loudest(build, state, point)]
        pair = leading_groups(build, point.contributions[:, where].tolist())
        pictures.append(plots.speed_plane(build, state, point, pair, where, called))
    shown = [plain_table(part) for part in tables.quietest_tables(build, answer)]
    return Section(
        "speeds", "Which speeds do I set?", wording.quietest_sentences(build, answer), pictures,
        [table for table in shown if table.title != "Findings"],
    )  # fmt: skip


def leading_groups(build: Build, levels: Sequence[float]) -> tuple[str, str]:
    """Return the two groups that are loudest and not held at one speed, fans before the pump, what rests last."""
    free = [name for name, r in zip(build.group_names, build.speed_ranges, strict=True) if r.highest > r.lowest]
    heard = dict(zip(build.group_names, levels, strict=True))
    ranked = sorted(free, key=lambda name: (heard[name] == -math.inf, name == "pump", -heard[name]))
    ranked += [name for name in build.group_names if name not in ranked]
    return ranked[0], ranked[1]


def _cool(dossier: Dossier) -> Section:
    build, setting = dossier.build, dossier.setting
    state, point = build.state(dossier.focus), setting.points[dossier.focus]
    pictures = [
        plots.coolant_ring(build, state, point),
        plots.heat_flow(build, state, point),
        plots.air_map(build, state, point),
    ]
    for path in build.air_paths:
        if path.fan_rows and any(point.speeds[build.group_names.index(row.group)] > 0.0 for row in path.fan_rows):
            pictures.append(plots.fan_curves(build, state, point, path.name))
    shown = [plain_table(part) for part in tables.point_tables(build, state, point)]
    where = [p.name for p in build.positions].index(dossier.answer.position)
    return Section(
        "cool", "Does everything stay cool?", [wording.solve_sentence(build, dossier.focus, point, where)], pictures,
        folded=[table for table in shown if table.title != "Findings"],
    )  # fmt: skip


def _kelvin(dossier: Dossier) -> Section:
    sure = dossier.uncertainty.get(dossier.focus)
    band = None
    if sure is not None:
        where = [p.name for p in dossier.build.positions].index(dossier.answer.position)
        level = 0.5 * float(sure.high.level[where] - sure.low.level[where])
        temp = 0.5 * float(sure.high.coolant_temp_max - sure.low.coolant_temp_max)
        band = plots.Band(temp, level) if math.isfinite(level) else None
    picture = plots.noise_over_temperature(dossier.curve, band, dossier.layout_curves, dossier.curved_path)
    said = tradeoff_sentences(dossier.build, dossier.curve)
    return Section("kelvin", "What does a kelvin cost?", said, [picture])


def _layouts(dossier: Dossier) -> list[Section]:
    answer = dossier.layouts
    if answer is None:
        return []
    pictures = [plots.layouts_compared(answer, one.path) for one in answer.paths]
    said = [worth_sentence(answer, one) for one in answer.paths]
    reasons = [
        Listing(
            one.path, [f"{o.layout}. {reason_sentence(o.reason)}" for o in one.outcomes if o.reason and not o.present]
        )
        for one in answer.paths
    ]
    return [Section("layouts", "Is another layout of the fans worth it?", said, pictures, lists=reasons)]


def _heard(dossier: Dossier) -> list[Section]:
    build = dossier.build
    state, point = build.state(dossier.focus), dossier.setting.points[dossier.focus]
    pictures = [plots.spectrum(build, state, point, position.name) for position in build.positions[:MOST_SPECTRA]]
    heard = listen(build, state, point).positions[:MOST_SPECTRA]
    said = [
        f"At the {place.position.name} the rig makes {wording.level_words(place.level)}, with room and microphone "
        f"{wording.level_words(place.total)}."
        for place in heard
    ]
    return [Section("heard", "What will be heard?", said, pictures)]


def _sure(dossier: Dossier) -> Section:
    rows = []
    for name, sure in dossier.uncertainty.items():
        for limit, chance in zip(sure.limits, sure.kept.tolist(), strict=True):
            rows.append((name, limit.name, percent(chance)))
        rows.append((name, "all of them together", percent(sure.all_kept)))
    said = [
        f"In {name} every limit is kept in {percent(sure.all_kept)} of {sure.draws} draws of all that is uncertain."
        for name, sure in dossier.uncertainty.items()
    ]
    wanted = {"coolant", dossier.answer.position}
    pictures = [plots.error_causes(ranking) for ranking in dossier.causes if ranking.result in wanted]
    table = Sheet("Chance that each limit is kept", ("state", "limit", ">chance"), tuple(rows))
    return Section("sure", "How sure is this?", said, pictures, folded=[table])


def _basis(dossier: Dossier) -> Section:
    build = dossier.build
    findings = [str(finding) for finding in check_build(build)]
    for said in tables.common_findings(build, dossier.points):
        if said not in findings:
            findings.append(said)
    counts = tuple((origin, str(count)) for origin, count in origins(build).items())
    ledger = tuple(
        (e.place, e.printed, number(e.value, 4), e.unit, e.origin, _tolerance(e.tolerance, e.tolerance_unit))
        for e in build.ledger
    )
    files = tuple((name, digest) for name, digest in build.inputs.items())
    versions = tuple(made_by().items())
    return Section(
        "basis",
        "What does it rest on?",
        ["Every number is predicted from the files below; nothing was measured unless its origin says so."],
        tables=[Sheet("Numbers by origin", ("origin", ">numbers"), counts)],
        lists=[
            Listing("Findings", findings or ["None."]),
            Listing("Assumptions", assumptions(build)),
            Listing("Cautions", CAUTIONS),
        ],
        folded=[
            Sheet("Every number of the files", ("place", "printed", ">used", "unit", "origin", "tolerance"), ledger),
            Sheet("Files that were read", ("file", "SHA-256"), files),
            Sheet("Made by", ("program", "version"), versions),
        ],
    )


def _tolerance(tolerance: float | None, unit: str) -> str:
    if tolerance is None:
        return "-"
    return f"{number(tolerance, 1)} dB" if unit == "dB" else f"{number(100.0 * tolerance, 1)} %"
