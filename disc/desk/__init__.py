"""The local page: look, correct, listen, compare.

A small server on 127.0.0.1 (server.py, guard.py, api.py) around one open job (session.py); the page itself is static
HTML, CSS and JavaScript modules in static/. What a person changes goes through edits.py and history.py into the job's
corrections; sheets.py says where everything lies in the pictures; derive.py recomputes what follows.
Open session.py first.
"""
