package sms

// basic lists the GSM 7-bit default alphabet of 3GPP TS 23.038, table 6.2.1,
// in code order without the escape code itself. Each costs one septet.
const basic = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ" +
	" !\"#¤%&'()*+,-./0123456789:;<=>?" +
	"¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§" +
	"¿abcdefghijklmnopqrstuvwxyzäöñüà"

// extension lists the characters of TS 23.038, table 6.2.1.1, that are sent as
// an escape code and a second code. Each costs two septets.
const extension = "\f^{}\\[~]|€"

var septetTable = buildSeptetTable()

func buildSeptetTable() map[rune]int {
	table := make(map[rune]int, len(basic)+len(extension))
	for _, r := range basic {
		table[r] = 1
	}
	for _, r := range extension {
		table[r] = 2
	}
	return table
}

// septets returns the cost of r in the GSM 7-bit alphabet: 1, 2 (an escape
// pair), or 0 when r is not in it.
func septets(r rune) int {
	if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == ' ' {
		return 1
	}
	return septetTable[r]
}
