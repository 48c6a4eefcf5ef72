"""What Celery calls."""

from makerlab.celery import app
from makerlab.work import actions


@app.task(name="makerlab.work.run_job")  # type: ignore[untyped-decorator]
def run_job(job_id: int) -> None:
    if job := actions.claim(job_id=job_id):
        actions.run(job)


@app.task(name="makerlab.work.sweep")  # type: ignore[untyped-decorator]
def sweep() -> None:
    actions.sweep()
