"""The arithmetic of cases: pure functions over NumPy arrays, no database and no other room.

Which file answers which question; the first of each line is the one to call.

From a prediction to chances
    `sizing` (a range and an error table to sizes) · `learning` (errors seen to a table; its strength),
    `learning_pairs` (two slots together), `learning_scores` (how good it was)
One case
    `fit` (the joint law of linked slots, over `parts`) · `coverage` (what it finds, what would help), on
    `rows` · `clashing` (which rules make it impossible)
What to bring
    `picking` (shortest list; gaps allowed), on `leaving`, `units`, `splitting` · `running` (unbroken runs,
    a site's minimum), on `stretches`, `boxes`, `filling`, `joining`, `kits`, `brought` · `bringing` (their
    values)
A list that shares a shelf, exactly
    `sharing` (each case after those before it), on `agenda`, `flows`, `terms`, `tracks`, `stores`,
    `readings`, with `bounds` where that is too dear · `served` (all of a list)
A horizon of weeks
    `horizon` (proven bound and estimate for every case, what-ifs), on `horizon_arrays` and its siblings ·
    `simulate` (the rule played out)
Sets over a day
    `turnaround` (who waits, how many would do, when each must leave), on `sterilizing` · `alternatives`
    (one of several sets) · `ordering` (an order in which nobody waits), on `ordering_search`,
    `ordering_pools` · `durations` (ready by: a time and a chance), with `waits`
What must be there, bought or lent
    `replenish` (levels of items) · `targets` (levels by which each case reaches its target), on `misses`,
    `misses_pooled` · `budget` (a list), on `worth`, `asks`, `buying`, `ceiling` · `spending` (a site), on
    `spending_programme` · `loans`, on `loans_cover`, `loans_programme`, `loans_shared` · `milp` (the
    solver)

`kinds` holds what goes in and what comes out.
"""
