"""One archive bag of a job: everything needed to see, in years, what was measured, said and done, and to go on.

In: a job folder. Out: a BagIt bag (RFC 8493) whose payload is an RO-Crate 1.1: the job itself, versions, and the
weights of the networks used. Open make_bag.py first, then check_bag.py (verify, restore); private_exif.py blanks
place and serial numbers.
"""
