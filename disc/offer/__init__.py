"""The offer to the customer: the estimate as a paper with tax, rebate, validity, and what could change it.

In: the job's plan with its estimate, the object's sheet, the workshop's own data (workshop.toml). Out: offers/ in the
job, every version kept. Open make_offer.py first.
"""
