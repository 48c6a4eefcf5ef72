"""What printing listens to. Sent inside the transaction of the decision: a receiver that raises undoes it.

Both are sent with ``sender=Submission, submission=<Submission>, user=<User>``.
"""

from django.dispatch import Signal

approved = Signal()  # a submission became approved: print requests are made
withdrawn = Signal()  # an approved one was sent back or replaced: copies not yet printing are no longer wanted
