"""What higher layers listen to. Sent inside the transaction of the change: a receiver that raises undoes it."""

from django.dispatch import Signal

# with sender=KitPart, kit_part=<KitPart>, assignment=<Assignment or None for the kit itself>, user=<User>
settings_changed = Signal()  # the print settings in force are others now: measure and plan again

# with sender=Meeting, meeting=<Meeting as it is now>, before=<its start until now>, user=<User>
meeting_moved = Signal()  # the deadline of the parts it needs is another now: plan again

# with sender=School, school=<School>, user=<User>
days_changed = Signal()  # kinds of day, periods or special days: when somebody is in the room may be another now
