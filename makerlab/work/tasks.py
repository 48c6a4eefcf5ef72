"""What Celery calls."""

from makerlab.celery import app
from makerlab.work import actions


@app.task(name="makerlab.work.run_next")  # type: ignore[untyped-decorator]
def run_next(lane: str) -> None:
    """One ring, one job: the next of the lane, whichever was rung for."""
    if job := actions.claim(lane):
        actions.run(job)


@app.task(name="makerlab.work.run_job")  # type: ignore[untyped-decorator]
def run_job(job_id: int) -> None:
    """A ring of the release before this one, which named the job."""
    if job := actions.claim(job_id=job_id):
        actions.run(job)


@app.task(name="makerlab.work.sweep")  # type: ignore[untyped-decorator]
def sweep() -> None:
    actions.sweep()


@app.task(name="makerlab.work.do_daily")  # type: ignore[untyped-decorator]
def do_daily() -> None:
    actions.do_daily()
