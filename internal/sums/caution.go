package sums

// The cautions, each said where it applies.
const (
	cautionSize = "A fit or a pass is about this dimension only, not roadworthiness. The maker's procedure, local rules and a qualified person come first."

	cautionPress = "Use a press guard and eye protection: a press and a bush under load store spring force, and a bush can burst or fly."

	cautionGrind = "Grinding can remove the hardened case and leave a notch at a fillet: have ground steering shafts crack-tested. Never weld, heat or straighten steering parts."

	cautionHeat = "Never weld, heat or straighten steering parts; a working temperature is not a leave to heat them."

	cautionTurn = "Stands and chocks, never a jack alone, and don't rock a jacked vehicle. Turn by hand with the drive isolated; nothing loose near rotation."

	cautionLock = "Use a new split pin or lock tab; the final torque is the maker's. Locking moves the play: only a measurement made after the lock is fastened counts."

	cautionAfter = "After assembly: lock to lock without binding, end play and temperature again after a short run, alignment."

	cautionSteering = "Stands and chocks, never a jack alone, and don't rock a jacked vehicle. Lash at the rim does not show which joint is worn, and a small figure is no proof of a safe one."
)
