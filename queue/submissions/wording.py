"""What a report says in one sentence, and ready sentences for a teacher's note."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lessons.models import CheckState
from lessons.told import reason_of
from meshcheck.types import Level, Verdict
from submissions.models import Submission


@dataclass(frozen=True, slots=True)
class Banner:
    """The big line of a report: tone and icon as {% banner %} takes them, a sentence and a second, quieter one."""

    kind: str
    icon: str
    title: str
    text: str = ""


def in_sentence(title: str) -> str:
    """A finding's title inside a sentence: small first letter, unless it is a name or an abbreviation."""
    return title[:1].lower() + title[1:] if title[1:2].islower() or title[1:2] == " " else title


def listed(findings: Sequence[Mapping[str, str]]) -> str:
    """Titles in one sentence: ``The skin has gaps; the hole is too small.``"""
    first, *others = [finding["title"] for finding in findings]
    return "; ".join([first, *(in_sentence(title) for title in others)]) + "."


def of_level(submission: Submission, level: Level) -> list[dict[str, str]]:
    """The findings of one level, as they stand in the report."""
    return [finding for finding in submission.findings if finding["level"] == level]  # type: ignore[misc]


def counts(submission: Submission) -> str:
    """``0 must fix, 1 advice, 5 pass``"""
    return _("%(fix)d must fix, %(advice)d advice, %(passes)d pass") % {
        "fix": len(of_level(submission, Level.MUST_FIX)),
        "advice": len(of_level(submission, Level.ADVICE)),
        "passes": len(of_level(submission, Level.PASSES)),
    }


def verdict_banner(submission: Submission) -> Banner:
    """What the check found, in one sentence."""
    if submission.check_state == CheckState.FAILED:
        return Banner("bad", "s-unknown", _("This file could not be checked."), submission.check_error)
    writers = {
        Verdict.REJECTED: _rejected,
        Verdict.MUST_FIX: _must_fix,
        Verdict.ADVICE: _advice,
        Verdict.OK: _passes,
    }
    return writers[Verdict(submission.verdict)](submission)


def _rejected(submission: Submission) -> Banner:
    mends = [finding["mend"] for finding in of_level(submission, Level.MUST_FIX) if finding["mend"]]
    reason = reason_of(submission.report or {})
    return Banner("bad", "s-fix", _("This file cannot be read as a part."), " ".join([reason, *mends]).strip())


def _must_fix(submission: Submission) -> Banner:
    fixes = of_level(submission, Level.MUST_FIX)
    if len(fixes) == 1:
        title = _("One thing must be fixed: %(what)s.") % {"what": in_sentence(fixes[0]["title"])}
        return Banner("bad", "s-fix", title, fixes[0]["figure"])
    title = _("%(count)d things must be fixed before it can print.") % {"count": len(fixes)}
    return Banner("bad", "s-fix", title, listed(fixes))


def _advice(submission: Submission) -> Banner:
    advice = of_level(submission, Level.ADVICE)
    if len(advice) == 1:
        title = _("It can print. One piece of advice: %(what)s.") % {"what": in_sentence(advice[0]["title"])}
        return Banner("care", "s-advice", title, advice[0]["figure"])
    title = _("It can print, with %(count)d pieces of advice.") % {"count": len(advice)}
    return Banner("care", "s-advice", title, listed(advice))


def _passes(submission: Submission) -> Banner:
    passed = len(of_level(submission, Level.PASSES))
    text = ngettext("%(count)d check passed.", "%(count)d checks passed.", passed) % {"count": passed}
    return Banner("good", "s-pass", _("Ready to print: every check passes."), text)


def short_result(submission: Submission) -> str:
    """The result in a few words, for the step line."""
    if submission.check_state == CheckState.CHECKING:
        return _("in progress")
    if submission.check_state == CheckState.FAILED:
        return _("could not be checked")
    fixes, advice = len(of_level(submission, Level.MUST_FIX)), len(of_level(submission, Level.ADVICE))
    if submission.verdict == Verdict.REJECTED:
        return _("cannot be read")
    if fixes:
        return ngettext("%(count)d thing must be fixed", "%(count)d things must be fixed", fixes) % {"count": fixes}
    if advice:
        return ngettext("%(count)d piece of advice", "%(count)d pieces of advice", advice) % {"count": advice}
    return _("everything passes")


def ready_sentences(submission: Submission) -> list[str]:
    """Sentences for a note, one for each finding that is not fine, and one question that is always good."""
    found = of_level(submission, Level.MUST_FIX) + of_level(submission, Level.ADVICE)
    sentences = [f"{finding['title']}: {finding['figure']}. {finding['mend']}".strip() for finding in found]
    return [*sentences, _("Tell me in one sentence why the new shape should do better.")]


def sort_findings(submission: Submission) -> list[dict[str, object]]:
    """What must be fixed first, then advice, then what passes."""
    order = {Level.MUST_FIX: 0, Level.ADVICE: 1, Level.PASSES: 2}
    return sorted(submission.findings, key=lambda finding: order[Level(str(finding["level"]))])


def line_words(kind: str) -> str:
    """What a kind of line in a drawn layer is called (kinds of meshcheck.inside.KINDS)."""
    words = {
        "walls": _("outer wall"),
        "inner_walls": _("inner wall"),
        "gaps": _("single line"),
        "skins": _("skin"),
        "fill": _("filling"),
        "brim": _("brim"),
        "support": _("support"),
        "raft": _("raft"),
    }
    return str(words[kind])
