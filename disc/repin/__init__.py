"""Findings in, the plan for the bench out: work list, drawings, drill table, machine settings, estimate.

Open make_plan.py first (a job to a plan), then plan_job.py (the plan with its drawings as one step). work.py decides
what is done, places.py where, stations.py puts both together with wire, drill (drills.py) and walls (clearance.py).
sheet.py is the only writer of page millimetres; face_sheet.py, marks.py and labels.py draw with it, dxf.py and
drill_table.py write for machines, dividing.py and machine.py work out their settings. estimate.py costs it, store.py
keeps out/plan.json.
"""
