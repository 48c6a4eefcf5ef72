"""Our web server, in a process that kills itself at one step of an upload: the step is the name of the file."""

from __future__ import annotations

import os
import signal
import sys
from typing import Any

import django
import waitress

STORED, WRITTEN, COMMITTED = "stored-without-row.stl", "row-not-committed.stl", "committed-not-answered.stl"


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def let_it_die() -> None:
    from submissions import actions
    from submissions.models import Submission

    store_once, start_check, upload_part = actions.store_once, actions._start_check, actions.upload_part

    def stored(item: Any, school_id: int) -> None:
        if item.file_name == STORED:
            die()
        store_once(item, school_id)

    def written(submission: Submission) -> None:
        start_check(submission)
        if submission.file_name == WRITTEN:
            die()

    def committed(*given: Any) -> Submission:
        made = upload_part(*given)
        if made.file_name == COMMITTED:
            die()
        return made

    actions.store_once, actions._start_check, actions.upload_part = stored, written, committed


if __name__ == "__main__":
    django.setup()
    let_it_die()
    from makerlab.serving import OPTIONS
    from makerlab.wsgi import application

    waitress.serve(application, host="127.0.0.1", port=int(sys.argv[1]), **OPTIONS)
