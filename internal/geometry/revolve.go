package geometry

import (
	"fmt"
	"math"
)

// ProfilePoint is a point of a profile turned about a vertical axis.
type ProfilePoint struct {
	Radius float64 // m, from the axis, 0 on it
	Height float64 // m, from any level
}

// Revolve gives the area and the volume of a profile of straight pieces turned
// about its axis, each piece a cone frustum (Pappus-Guldin): area
// sum pi (r1 + r2) sqrt(dr^2 + dz^2), volume |sum pi dz/3 (r1^2 + r1 r2 + r2^2)|.
//
// A profile that starts or ends off the axis is open there: no flat face is in the
// area, but the volume is that of the body closed by one. The profile may overhang
// but not cross itself, which is not checked. A curve is approached from within by
// more points, with an error that falls as the square of their number.
func Revolve(profile []ProfilePoint) (Shell, error) {
	if err := profileFaults("profile", profile).err(); err != nil {
		return Shell{}, err
	}
	return revolve(profile), nil
}

func revolve(profile []ProfilePoint) Shell {
	var shell Shell
	for i := 1; i < len(profile); i++ {
		p, q := profile[i-1], profile[i]
		side, volume := frustum(p.Radius, q.Radius, q.Height-p.Height)
		shell.Area += side
		shell.Volume += volume
	}
	shell.Volume = math.Abs(shell.Volume)
	return shell
}

func profileFaults(field string, profile []ProfilePoint) faultList {
	var f faultList
	if len(profile) < 2 {
		f.add(field, float64(len(profile)), Number, "at least 2 points")
	}
	for i, p := range profile {
		f.lengthWithin(fmt.Sprintf("%s[%d].radius", field, i), p.Radius, 0, LengthMax)
		f.coordinate(fmt.Sprintf("%s[%d].height", field, i), p.Height)
	}
	return f
}
