package geometry

// CarlsonRG lets the handbook table check R_G itself against its printed value.
func CarlsonRG(x, y, z float64) float64 { return carlsonRG(x, y, z) }
