"""What higher layers listen to. Sent inside the transaction of the change: a receiver that raises undoes it."""

from django.dispatch import Signal

# with sender=KitPart, kit_part=<KitPart>, assignment=<Assignment or None for the kit itself>, user=<User>
settings_changed = Signal()  # the print settings in force are others now: measure and plan again
