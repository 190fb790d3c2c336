package picture

// person is the outline of somebody standing, seen from the front: a few curves of
// our own, 1.75 m tall, neither man nor woman, nobody in particular. In metres, x
// from the middle, y from the ground up.
func person() []spot {
	half := curve(bodyHalf(), 6)
	outline := make([]spot, 0, 2*len(half))
	outline = append(outline, half...)
	for i := len(half) - 1; i >= 0; i-- {
		outline = append(outline, spot{-half[i].x, half[i].y})
	}
	return outline
}

// bodyHalf is one half of the person, from the crown over the arm to the foot and
// up the inside of the leg.
func bodyHalf() []spot {
	return []spot{
		{0, 1.750},
		{0.045, 1.738},
		{0.074, 1.695},
		{0.078, 1.640},
		{0.067, 1.582},
		{0.051, 1.540}, // head
		{0.052, 1.500},
		{0.075, 1.462},
		{0.140, 1.440},
		{0.186, 1.412},
		{0.212, 1.355}, // shoulder
		{0.226, 1.240},
		{0.238, 1.110},
		{0.254, 0.980},
		{0.266, 0.870},
		{0.272, 0.790}, // arm
		{0.264, 0.730},
		{0.246, 0.722},
		{0.232, 0.775},
		{0.226, 0.870}, // hand
		{0.206, 0.990},
		{0.190, 1.110},
		{0.174, 1.225},
		{0.163, 1.280}, // inside of the arm
		{0.156, 1.200},
		{0.149, 1.100},
		{0.153, 0.990},
		{0.166, 0.880}, // waist
		{0.168, 0.760},
		{0.156, 0.610},
		{0.132, 0.490},
		{0.132, 0.370},
		{0.112, 0.220}, // leg
		{0.093, 0.090},
		{0.112, 0.040},
		{0.124, 0.012},
		{0.100, 0.000},
		{0.050, 0.000}, // foot
		{0.040, 0.030},
		{0.042, 0.090},
		{0.036, 0.220},
		{0.026, 0.370},
		{0.030, 0.490}, // inside of the leg
		{0.024, 0.640},
		{0.000, 0.800},
	}
}

// curve is a smooth line through places (Catmull and Rom's), each stretch in parts.
func curve(through []spot, parts int) []spot {
	var line []spot
	last := len(through) - 1
	for i := range last {
		a, b, c, d := through[max(i-1, 0)], through[i], through[i+1], through[min(i+2, last)]
		for k := range parts {
			t := float64(k) / float64(parts)
			line = append(line, spot{smooth(t, a.x, b.x, c.x, d.x), smooth(t, a.y, b.y, c.y, d.y)})
		}
	}
	return append(line, through[last])
}

// smooth is a value a part t of the way from b to c, with a before and d after.
func smooth(t, a, b, c, d float64) float64 {
	k1 := (c - a) / 2
	k2 := a - float64(2.5*b) + float64(2*c) - d/2
	k3 := (d-a)/2 + float64(1.5*(b-c))
	return b + float64(t*(k1+float64(t*(k2+float64(t*k3)))))
}
