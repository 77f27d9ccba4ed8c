package motion

// TurningPoints gives the indices of the values at which the direction turns,
// the first and last value included, leaving out turns no larger than the
// hysteresis. It is the reversal sequence that ASTM E1049 counts ranges of.
func TurningPoints(values []float64, hysteresis float64) []int {
	if len(values) == 0 {
		return nil
	}
	points := []int{0}
	extreme, way := 0, 0.0 // way: +1 rising since the last point, -1 falling
	for i, v := range values {
		d := v - values[extreme]
		switch {
		case way == 0:
			if d > hysteresis || d < -hysteresis {
				way, extreme = sign(d), i
			}
		case d*way > 0:
			extreme = i
		case d*way < -hysteresis:
			points = append(points, extreme)
			way, extreme = -way, i
		}
	}
	if extreme != points[len(points)-1] {
		points = append(points, extreme)
	}
	return points
}

func sign(x float64) float64 {
	if x < 0 {
		return -1
	}
	return 1
}
