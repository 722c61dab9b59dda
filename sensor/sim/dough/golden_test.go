package dough_test

// What amd64 gives for the multiple at 7.5 h, the surface at 12 h (mm) and the sample's temperature at 9.2 h (°C).
var (
	goldenMonod = [3]float64{1.22362119404, 96.3832066202, 20.981727426}
	goldenFilm  = [3]float64{1.334633464004, 109.6856567408, 20.98172742604}
)
