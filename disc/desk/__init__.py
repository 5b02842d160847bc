"""The local page: look, correct, listen, compare.

A small server on 127.0.0.1 (server/) around one open job (open_job/: session.py); what a person does there is in work/,
what the page is told in page/, whose static/ holds the HTML, CSS and JavaScript modules. What is changed goes through
edits.py and history.py into the job's corrections; sheets.py says where everything lies in the pictures; derive.py
recomputes what follows.
Open session.py first.
"""
