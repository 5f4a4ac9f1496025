"""How much is needed: mortar from the joints as laid, what to buy, and schedules by wall, storey, day and hand.

Rooms: `joints` (mortar), `materials` (what is bought; `informing` has its rows that are not), `frames` (the table of pieces that the
others are made from), `by_wall`, `bill`, `bars` (their cutting list), `bought` (the ledger from drawn to bought), `labour`, `staging`
with `spots`, `site` (what a job may say of them, with sources), `schedules` (all of them).
"""

from wallquant.quantities.joints import JointVolumes, joint_volumes
from wallquant.quantities.materials import materials
from wallquant.quantities.schedules import Counted, counted

__all__ = ["Counted", "JointVolumes", "counted", "joint_volumes", "materials"]
