"""What a person does at the desk: photographs, comb, marks, bars, decisions and longer tasks, each a step of history.

The open job itself and what follows after every edit are in `disc/desk/open_job`.
"""
