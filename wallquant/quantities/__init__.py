"""How much is needed: mortar from the joints as laid, and the schedule of materials."""

from wallquant.quantities.joints import JointVolumes, joint_volumes
from wallquant.quantities.materials import materials

__all__ = ["JointVolumes", "joint_volumes", "materials"]
