"""What higher layers listen to. Sent inside the transaction of the change: a receiver that raises undoes it."""

from django.dispatch import Signal

plan_published = Signal()  # with sender=RoomPlan, plan=<RoomPlan>: a plan came into force
run_ended = Signal()  # with sender=Run, run=<Run>, outcome=<Outcome>: staff said how a run went
