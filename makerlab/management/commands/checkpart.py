"""Check mesh files from the command line, without a database."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from makerlab.demo.fixtures import KitPartFacts, kit_part_codes, read_kit_part
from meshcheck.bore_gauge import in_words
from meshcheck.check import check_part
from meshcheck.report import report_json
from meshcheck.second_opinion import Opinion, second_opinion
from meshcheck.types import Gauge, Verdict
from meshcheck.types.bore import BoreKind, BoreShape

BAD = {Verdict.MUST_FIX, Verdict.REJECTED}


class Command(BaseCommand):
    help = (
        "Measure STL, OBJ or 3MF files and print what was found. "
        "Exit status: 0 ok or advice, 1 must fix or rejected, 2 wrong usage."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("files", nargs="+", metavar="FILE")
        what = parser.add_mutually_exclusive_group()
        what.add_argument("--part", metavar="KIT-PART", choices=kit_part_codes(), help="a part of the demo's kit")
        what.add_argument("--hole-mm", type=float, metavar="D", help="the hole that must be there, its diameter in mm")
        parser.add_argument("--infill", type=float, metavar="SHARE", help="infill share, 0 to 1")
        parser.add_argument(
            "--second-opinion", action="store_true", help="show what an independent library measures beside our figures"
        )
        parser.add_argument("--json", action="store_true", help="print a JSON list instead of a table")

    def handle(self, *args: Any, **options: Any) -> None:
        facts = self.facts(options)
        reports, opinions = [], []
        for name in options["files"]:
            path = Path(name)
            if not path.is_file():
                raise CommandError(f"{name}: no such file", returncode=2)
            data = path.read_bytes()
            report = check_part(data, path.name, gauge=facts.gauge, settings=facts.settings, limits=facts.limits)
            reports.append(report)
            opinions.append(second_opinion(data, report) if options["second_opinion"] else ())
        plain = [report_json(report) for report in reports]
        if options["json"]:
            self.stdout.write(json.dumps(plain, indent=2, ensure_ascii=False))
        else:
            for facts_told, told in zip(plain, opinions, strict=True):
                self.table(facts_told, told)
        if any(report.verdict in BAD for report in reports):
            raise SystemExit(1)

    def facts(self, options: dict[str, Any]) -> KitPartFacts:
        facts = read_kit_part(options["part"]) if options["part"] else KitPartFacts()
        if options["hole_mm"] is not None:
            if not 0 < options["hole_mm"] < 1000:
                raise CommandError("--hole-mm must be above 0 and below 1000", returncode=2)
            facts = KitPartFacts(gauge=Gauge(hole_diameter_mm=options["hole_mm"]))
        if options["infill"] is not None:
            try:
                facts = facts.with_settings(infill_share=options["infill"])
            except ValueError as error:
                raise CommandError(str(error), returncode=2) from error
        return facts

    def table(self, report: dict[str, Any], opinions: tuple[Opinion, ...]) -> None:
        """One file as aligned lines of words and figures."""
        self.stdout.write(f"{report['file']}: {report['verdict'].replace('_', ' ')}. {report['reason']}")
        for label, text in table_rows(report):
            self.stdout.write(f"  {label:<18} {text}")
        for finding in report["findings"]:
            if finding["level"] != "passes":
                self.stdout.write(f"  {finding['level'].replace('_', ' '):<9} {finding['title']}: {finding['figure']}")
        for opinion in opinions:
            self.stdout.write(f"  {'trimesh: ' + opinion.name:<18} {_opinion(opinion)}")
        self.stdout.write("")


def table_rows(report: dict[str, Any]) -> list[tuple[str, str]]:
    """Label and figure of everything that was measured; what is unknown says so."""
    if report["faces"] is None:
        return []
    size = " x ".join(f"{side:.2f}" for side in report["bbox_mm"])
    return [
        ("read in", str(report["units"])),
        ("triangles", f"{report['faces']} in {report['bodies']} bodies"),
        ("closed", "yes" if report["watertight"] else "no"),
        ("size", f"{size} mm"),
        ("volume", _figure(report["volume_mm3"], "mm3", 1)),
        ("surface", _figure(report["area_mm2"] / 100, "cm2", 2)),
        ("steep undersides", _figure(report["overhang_area_mm2"], "mm2", 1)),
        ("thinnest wall", _figure(report["min_wall_mm"], "mm", 2)),
        *_hole_rows(report["holes"]),
        ("mass", _figure(report["mass_g"], "g", 3)),
        ("filament", _figure(report["filament_m"], "m", 2)),
        ("time", _figure(report["duration_s"] and report["duration_s"] / 60, "min", 1)),
    ]


def _hole_rows(holes: list[dict[str, Any]] | None) -> list[tuple[str, str]]:
    return [
        (
            "hole",
            f"{hole['diameter_mm']:.3f} mm across, {hole['free_diameter_mm']:.3f} mm free, "
            f"{hole['depth_mm']:.2f} mm deep, {'through' if hole['through'] else 'blind'}, "
            f"{in_words(BoreShape(**{**hole['shape'], 'kind': BoreKind(hole['shape']['kind'])}))}",
        )
        for hole in holes or []
    ]


def _opinion(opinion: Opinion) -> str:
    """Theirs, and how far ours is from it."""
    if opinion.theirs is None:
        return "unknown"
    if isinstance(opinion.theirs, bool):
        return f"{'yes' if opinion.theirs else 'no'}, ours {'yes' if opinion.ours else 'no'}"
    apart = "" if opinion.difference is None else f", ours differs by {opinion.difference:.1e}"
    return f"{opinion.theirs:.3f} {opinion.unit}{apart}"


def _figure(value: float | None, unit: str, decimals: int) -> str:
    return "unknown" if value is None else f"{value:.{decimals}f} {unit}"
