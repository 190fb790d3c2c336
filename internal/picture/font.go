package picture

import "strings"

// Letters are drawn with one stroke, as on a drawing board, so that no font is
// needed and a picture is the same everywhere. A place is two digits: x from the
// left, and y from the bottom of a "g" (0) over the base line (2) and the top of an
// "x" (6) to the top of an "H" (8). Strokes are parted by a slash. After a "~" the
// places are the control polygon of a curve, after an "@" of a closed one.
const letters = `
A 02 28 42/15 35
B 02 08/~08 38 35 05/~05 15 45 42 02/02 12/05 15
C ~47 48 08 02 42 43
D 02 08/~08 28 48 42 22 02
E 38 08 02 32/05 25
F 38 08 02/05 25
G ~47 48 08 02 42 44/44 24
H 02 08/42 48/05 45
I 02 08
J ~28 22 02 03
K 02 08/38 04/15 42
L 08 02 32
M 02 08 24 48 42
N 02 08 42 48
O @08 48 42 02
P 02 08/~08 18 48 44 14 04
Q @08 48 42 02/24 42
R 02 08/~08 18 48 44 14 04/24 42
S ~47 48 08 05 45 42 02 03
T 08 48/28 22
U ~08 03 02 42 43 48
V 08 22 48
W 08 12 27 32 48
X 02 48/08 42
Y 08 25 48/25 22
Z 08 48 02 42
a @06 36 32 02/36 32
b 08 02/@06 36 32 02
c ~35 36 06 02 32 33
d 38 32/@06 36 32 02
e 04 34/~34 36 06 02 32 33
f ~38 18 17 12/06 26
g @06 36 32 02/~36 31 30 00 01
h 08 02/~04 06 36 34 32
i 06 02/08 08
j ~16 11 10 00/18 18
k 08 02/36 03/14 32
l 08 02
m 06 02/~04 06 26 24 22/~24 26 46 44 42
n 06 02/~04 06 36 34 32
o @06 36 32 02
p 06 00/@06 36 32 02
q 36 30/@06 36 32 02
r 06 02/~04 06 26
s ~35 36 06 04 34 32 02 03
t ~18 13 12 22/06 26
u ~06 04 02 32 34/36 32
v 06 22 46
w 06 12 26 32 46
x 02 36/06 32
y 06 22/46 22 10 00
z 06 36 02 32
0 @08 38 32 02
1 06 28 22
2 ~06 08 38 35 13 02/02 32
3 ~07 08 38 35 15/~15 35 32 02 03
4 32 38 04 44
5 38 08 05/~05 35 32 02 03
6 ~37 38 08 05 03/@05 35 32 02
7 08 38 12
8 @08 38 35 05/@05 35 32 02
9 @08 38 35 05/~37 35 32 02 03
. 02 02
, 12 01
: 02 02/05 05
; 12 01/15 15
- 04 24
+ 04 44/26 22
= 03 33/05 35
/ 01 38
( ~18 08 01 11
) ~08 18 11 01
[ 18 08 01 11
] 08 18 11 01
< 36 04 32
> 06 34 02
% 02 48/@08 18 17 07/@33 43 42 32
* 04 34/15 23/13 25
' 08 06
" 08 06/18 16
! 08 04/02 02
? ~07 08 38 35 15 14/12 12
_ 01 41
# 12 28/22 38/06 46/04 44
° @08 28 26 06
× 03 36/06 33
· 04 04
& 42 07 18 27 04 03 12 22 44
@ @16 36 34 14/@08 48 42 02
$ ~47 48 08 05 45 42 02 03/29 21
£ ~37 38 18 13 02/02 42/05 25
€ ~47 48 18 12 42 43/06 36/04 34
\\ 08 31
| 08 01
{ ~28 18 16 05/~05 14 11 21
} ~08 18 16 25/~25 14 11 01
~ ~04 06 24 46
^ 06 18 26
`

// alike lists letters that are drawn as the first of their group.
const alike = "AÀÁÂÃÄÅĀĂĄ CÇĆĈĊČ DĎĐÐ EÈÉÊËĒĔĖĘĚ GĜĞĠĢ HĤĦ IÌÍÎÏĨĪĬĮİ JĴ KĶ LĹĻĽŁ NÑŃŅŇ OÒÓÔÕÖØŌŎŐ RŔŖŘ SŚŜŞŠȘ TŢŤŦȚ " +
	"UÙÚÛÜŨŪŬŮŰŲ WŴ YÝŶŸ ZŹŻŽ aàáâãäåāăą cçćĉċč dďđð eèéêëēĕėęě gĝğġģ hĥħ iìíîïĩīĭįı jĵ kķ lĺļľł nñńņň oòóôõöøōŏő " +
	"rŕŗř sßśŝşšș tţťŧț uùúûüũūŭůűų wŵ yýÿŷ zźżž -–—−‐ \"“”„ '’‘`´ 2² 3³"

// unknown stands for what there is no letter for.
const unknown = "02 08 42 48 02 42/08 48"

// space and spacing of letters, in parts of the grid; em is the parts of a size.
const (
	blank   = 2.6
	spacing = 1.9
	em      = 8.6
)

// font is the letters, ready to be drawn.
type font map[rune]glyph

// glyph is a letter: its strokes and its width, in parts of the grid.
type glyph struct {
	strokes [][]spot
	width   float64
}

// newFont reads the letters.
func newFont() font {
	f := font{' ': {width: blank - spacing}, '\uFFFD': readGlyph(unknown)}
	for line := range strings.Lines(letters) {
		name, strokes, ok := strings.Cut(strings.TrimSpace(line), " ")
		if ok {
			f[[]rune(name)[0]] = readGlyph(strokes)
		}
	}
	for group := range strings.FieldsSeq(alike) {
		first := []rune(group)[0]
		for _, r := range []rune(group)[1:] {
			f[r] = f[first]
		}
	}
	return f
}

func readGlyph(strokes string) glyph {
	var g glyph
	for stroke := range strings.SplitSeq(strokes, "/") {
		line := readStroke(stroke)
		g.strokes = append(g.strokes, line)
		for _, p := range line {
			g.width = max(g.width, p.x)
		}
	}
	return g
}

func readStroke(stroke string) []spot {
	var line []spot
	for place := range strings.FieldsSeq(strings.TrimLeft(stroke, "~@")) {
		line = append(line, spot{float64(place[0] - '0'), float64(place[1]-'0') - 2})
	}
	closed := strings.HasPrefix(stroke, "@")
	if closed || strings.HasPrefix(stroke, "~") {
		for range 3 {
			line = cutCorners(line, closed)
		}
	}
	if closed {
		line = append(line, line[0])
	}
	return line
}

// cutCorners replaces each corner by two, a quarter along its sides (Chaikin's
// method): thrice done, a polygon is a smooth curve to the eye.
func cutCorners(line []spot, closed bool) []spot {
	var cut []spot
	for i, a := range line {
		if i+1 == len(line) && !closed {
			break
		}
		b := line[(i+1)%len(line)]
		cut = append(
			cut,
			spot{float64(a.x*0.75) + float64(b.x*0.25), float64(a.y*0.75) + float64(b.y*0.25)},
			spot{float64(a.x*0.25) + float64(b.x*0.75), float64(a.y*0.25) + float64(b.y*0.75)},
		)
	}
	if !closed {
		cut[0], cut[len(cut)-1] = line[0], line[len(line)-1]
	}
	return cut
}

// glyph returns a letter, or the sign for one that there is none of.
func (f font) glyph(r rune) glyph {
	if g, ok := f[r]; ok {
		return g
	}
	return f['\uFFFD']
}

// width is how long words of a size are, mm.
func (f font) width(words string, size float64) float64 {
	w := -spacing
	for _, r := range words {
		w += f.glyph(r).width + spacing
	}
	return max(0, float64(w*size)/em)
}
