"""Celery, the doorbell of the distributed profile. The work itself is a database row (``makerlab.work``)."""

import os
import threading
from typing import Any

from celery import Celery, signals
from kombu.entity import Queue

from makerlab.work.lanes import Lane

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "makerlab.settings")
app = Celery("makerlab")
app.config_from_object("django.conf:settings", namespace="CELERY")
# a queue for each lane, so that a worker can be told to serve some of them only (``--queues measure``)
names = [app.conf.task_default_queue, *Lane.values]
app.conf.task_queues = [Queue(name) for name in names]  # type: ignore[no-untyped-call]
app.autodiscover_tasks(["makerlab.work"])


stop_beating = threading.Event()


@signals.worker_ready.connect  # type: ignore[untyped-decorator]
def start_heartbeat(sender: Any, **kwargs: Any) -> None:
    """Let this worker be heard of, with the lanes whose queues it serves."""
    from makerlab.work.beat import beat_often

    served = set(sender.app.amqp.queues.consume_from) & set(Lane.values)
    threading.Thread(target=beat_often, args=(stop_beating, lambda: served), name="heartbeat", daemon=True).start()


@signals.worker_shutting_down.connect  # type: ignore[untyped-decorator]
def stop_heartbeat(**kwargs: Any) -> None:
    stop_beating.set()
