"""What printing listens to. Sent inside the transaction of the decision: a receiver that raises undoes it.

All are sent with ``sender=Submission, submission=<Submission>, user=<User>``.
"""

from django.dispatch import Signal

approved = Signal()  # a submission became approved: print requests are made
undone = Signal()  # an approval was taken back at once: what was ordered by it is no longer wanted
# the one below alone has no user: sender=Submission, submission=<Submission>
checked = Signal()  # its check is over: measured, or could not be
withdrawn = Signal()  # an approved one was sent back or replaced: copies not yet printing are no longer wanted
