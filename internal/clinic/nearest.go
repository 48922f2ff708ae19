package clinic

// nearest returns the known name that a misspelt one most likely meant, or ""
// where none is near: at most a third of the letters, and never more than
// three, are wrong, missing, too many or swapped with a neighbour.
func nearest(name string, known []string) string {
	if len(name) > maxShownValue {
		return ""
	}
	best, bestDistance := "", min(3, max(1, len(name)/3))+1
	for _, k := range known {
		if d := distance(name, k); d < bestDistance {
			best, bestDistance = k, d
		}
	}
	return best
}

// distance is the number of letters to insert, delete, change or swap with a
// neighbour (optimal string alignment) to make b of a, in bytes.
func distance(a, b string) int {
	d := make([][]int, len(a)+1)
	for i := range d {
		d[i] = make([]int, len(b)+1)
		d[i][0] = i
	}
	for j := range d[0] {
		d[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			change := 1
			if a[i-1] == b[j-1] {
				change = 0
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+change)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(a)][len(b)]
}
