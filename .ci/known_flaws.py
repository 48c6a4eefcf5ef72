"""Asks a public list for known flaws of the locked packages: ``python .ci/known_flaws.py PATH_OF_PIP_AUDIT``, from the
project's folder. Ends with 1 when a package has one that is not noted in .ci/flaws-noted.txt, or when the tool itself
fails; with 0 when none has, and also when the list answered for no package at all: then it says nothing was audited.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path

NOTED = Path(__file__).with_name("flaws-noted.txt")
NOTHING = "no feed is reachable: nothing was audited"
AWAY = re.compile(r"^requests\.exceptions\.(ConnectionError|\w*Timeout|ProxyError|SSLError)\b|Could not connect", re.M)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the run ends with (0 fine, 1 not) and what it says, a sentence a line."""

    code: int
    told: tuple[str, ...]


def noted_flaws(text: str, today: date) -> frozenset[str]:
    """Names of flaws that need not stop us: lines ``NAME YYYY-MM-DD REASON``, their day included; # begins a remark.
    ValueError: a line without a day or a reason."""
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    rows = [line.split(maxsplit=2) for line in lines]
    if short := [row for row in rows if len(row) < 3]:
        raise ValueError(f"flaws-noted: a name, a day and a reason are wanted: {short[0]}")
    return frozenset(name for name, day, _reason in rows if today <= date.fromisoformat(day))


def judge(output: str, noted: frozenset[str] = frozenset()) -> Verdict:
    """``output``: the tool's JSON, ``dependencies`` of which each has ``skip_reason`` or ``version`` and ``vulns``."""
    packages = json.loads(output)["dependencies"]
    skipped = [each["name"] for each in packages if "skip_reason" in each]
    audited = [each for each in packages if "skip_reason" not in each]
    if not packages:
        return Verdict(1, ("no package was named to the audit",))
    if not audited:
        return Verdict(0, (f"{NOTHING} ({len(skipped)} packages)",))
    flaws = [(each, flaw) for each in audited for flaw in each["vulns"]]
    open_ones = [(each, flaw) for each, flaw in flaws if not noted & {flaw["id"], *flaw.get("aliases", ())}]
    noted_ones = len(flaws) - len(open_ones)
    told = [f"{len(audited)} packages audited; known flaws: {len(open_ones)}, and noted ones: {noted_ones}"]
    for each, flaw in open_ones:
        mended = ", ".join(flaw["fix_versions"]) or "no version yet"
        told.append(f"{each['name']} {each['version']}: {flaw['id']}, mended in {mended}")
    if skipped:
        told.append(f"{len(skipped)} could not be audited: {', '.join(skipped)}")
    return Verdict(1 if open_ones else 0, tuple(told))


def judge_run(output: str, errors: str, noted: frozenset[str] = frozenset()) -> Verdict:
    """``output`` and ``errors``: what the tool wrote. Without JSON it failed: at the network, or in itself."""
    if output.strip():
        return judge(output, noted)
    if AWAY.search(errors):
        return Verdict(0, (NOTHING,))
    return Verdict(1, ("the audit itself failed:", *errors.strip().splitlines()[-5:]))


def main(tool: str) -> int:
    locked = sorted(Path().glob("requirements*.txt"))
    files = [word for path in locked for word in ("-r", str(path))]
    command = [tool, *files, "--require-hashes", "--disable-pip", "--progress-spinner", "off", "--format", "json"]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=600, check=False)
    verdict = judge_run(ran.stdout, ran.stderr, noted_flaws(NOTED.read_text("utf-8"), date.today()))
    print(*verdict.told, sep="\n")
    return verdict.code


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))
