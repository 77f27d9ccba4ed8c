package sums

import "strings"

// The pictures show each sum's geometry with the letters or words of its inputs.
// Own drawings, in one colour (currentColor), so that they follow any page.

// picture spells out the pens: m and w are metal and work, filled faintly, t is
// lettering, d a broken line, a an arrow or dimension. Attributes, not a style
// sheet, because inline in a page a style would leak into all of it.
func picture(drawing string) string {
	return strings.NewReplacer(
		`class="m"`, `fill="currentColor" fill-opacity=".16"`,
		`class="w"`, `fill="currentColor" fill-opacity=".32"`,
		`class="t"`, `fill="currentColor" stroke="none" font-family="sans-serif" font-size="10" font-weight="600"`,
		`class="d"`, `stroke-width="1" stroke-dasharray="3 3"`,
		`class="a"`, `stroke-width="1.2"`,
	).Replace(pictureHead + drawing + "</svg>")
}

const pictureHead = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 220 140" fill="none" stroke="currentColor" stroke-width="1.6" stroke-linecap="round" stroke-linejoin="round">`

const convertDrawing = `<path d="M20 44h180M20 44v-9M40 44v-5M60 44v-5M80 44v-5M100 44v-5M120 44v-9M140 44v-5M160 44v-5M180 44v-5M200 44v-5"/><path d="M20 100h180M20 100v9M71 100v9M122 100v9M173 100v9M45.500 100v5M96.500 100v5M147.500 100v5"/><path class="m" stroke="none" d="M62 44h91v56H62z"/><path class="d" d="M62 44v56M153 44v56"/><path stroke-width="2.600" d="M71 91v18M148 91v18"/><path class="a" d="M54 84h14M64 81l4 3-4 3M165 84h-14M155 81l-4 3 4 3"/><text class="t" x="20" y="28">mm</text><text class="t" x="20" y="126">in</text><text class="t" x="66" y="66">low</text><text class="t" x="124" y="66">high</text>`

const fitDrawing = `<path class="d" d="M14 74h192"/><path class="m" d="M40 34h52v40H40z"/><path class="w" d="M112 84h52v24h-52z"/><path class="a" d="M186 74v10M183 78l3-4 3 4M183 80l3 4 3-4M164 84h28M92 34h100M196 34v74M193 38l3-4 3 4M193 104l3 4 3-4M164 108h38"/><text class="t" x="50" y="58">hole</text><text class="t" x="121" y="100">shaft</text><text class="t" x="12" y="70">size</text><text class="t" x="150" y="70">least</text><text class="t" x="152" y="29">greatest</text>`

const bushDrawing = `<circle class="m" cx="74" cy="70" r="62"/><circle cx="74" cy="70" r="46" fill="none"/><circle class="m" cx="74" cy="70" r="46"/><circle class="w" cx="74" cy="74" r="30"/><circle cx="74" cy="70" r="36"/><path class="d" d="M4 70h140M74 2v136"/><path class="a" d="M74 24v10M71 30l3 4 3-4M74 54V44M71 48l3-4 3 4M107 70h46M106 52l48-28M134 90l20 22"/><text class="t" x="60" y="80">shaft</text><text class="t" x="158" y="26">bore</text><text class="t" x="158" y="74">clearance</text><text class="t" x="158" y="118">bush</text>`

const pressDrawing = `<path class="m" d="M10 62h60v70H10zM150 62h60v70h-60z"/><path class="w" d="M72 26h20v70H72zM128 26h20v70h-20z"/><path class="d" d="M110 8v128"/><path stroke-width="2" d="M110 4v14M105 13l5 6 5-6"/><path class="a" d="M161 80h-9M156 77l-4 3 4 3M139 80h8M144 77l4 3-4 3M92 112h36M96 109l-4 3 4 3M124 109l4 3-4 3M72 96v28M148 96v28"/><text class="t" x="14" y="122">housing</text><text class="t" x="68" y="20">bush</text><text class="t" x="97" y="108">bore</text><text class="t" x="148" y="56">pressure</text>`

const warmDrawing = `<circle class="m" cx="80" cy="70" r="62"/><circle class="m" cx="80" cy="70" r="46"/><circle cx="80" cy="70" r="35"/><circle class="w" cx="80" cy="70" r="30"/><path class="a" d="M102 48l12-12M108 35h7v7M58 92l-12 12M45 98v7h7M58 48L46 36M52 35h-7v7M102 92l12 12M108 105h7v-7"/><path d="M176 26a6 6 0 0 1 12 0v62a12 12 0 1 1-12 0z"/><circle class="w" cx="182" cy="98" r="7"/><path stroke-width="4" d="M182 92V52"/><path class="a" d="M192 40h8M192 54h8M192 68h8"/><text class="t" x="66" y="74">shaft</text><text class="t" x="150" y="132">°C each</text>`

const turnDrawing = `<path class="m" d="M136 70l-26 45H58L32 70l26-45h52z"/><circle cx="84" cy="70" r="28"/><circle class="w" cx="84" cy="70" r="20"/><path stroke-width="5" d="M84 25v13M84 102v13M123 47.500l-11 6.500M123 92.500l-11-6.500M45 47.500l11 6.500M45 92.500l11-6.500"/><path class="d" d="M52 122L116 18"/><path class="a" d="M150 40a66 66 0 0 1 2 56M147 91l5 6 5-6"/><text class="t" x="166" y="76">turn</text><text class="t" x="120" y="14">hole</text><text class="t" x="130" y="42">slot</text>`

const shimDrawing = `<path class="m" d="M14 34h68v72H14zM142 34h64v72h-64z"/><path class="w" d="M82 44h8v52h-8zM90 44h5v52h-5zM95 44h16v52H95z"/><path class="a" d="M111 118v10M142 110v18M111 123h31M115 120l-4 3 4 3M138 120l4 3-4 3M82 30V16M111 40V16M82 22h29M86 19l-4 3 4 3M107 19l4 3-4 3"/><text class="t" x="84" y="13">pack</text><text class="t" x="115" y="137">play</text>`

const lashDrawing = `<circle cx="158" cy="56" r="48" stroke-width="5"/><circle class="w" cx="158" cy="56" r="8"/><path d="M158 64v38M150.500 53L112 42M165.500 53L204 42"/><path class="d" d="M150 60L84 96"/><path class="m" d="M62 84h28v28H62z"/><path d="M76 98L30 74" stroke-width="3"/><circle class="w" cx="30" cy="74" r="5"/><path class="a" d="M18 58v32M15 62l3-4 3 4M15 86l3 4 3-4M213 62a56 56 0 0 1-13 34M203 90l-4 7 8-1"/><text class="t" x="6" y="50">play</text><text class="t" x="50" y="78">arm</text><text class="t" x="60" y="126">ratio</text><text class="t" x="194" y="112">lash</text><text class="t" x="140" y="126">wheel</text>`

const tiltDrawing = `<path class="m" d="M14 24h30v24H14zM14 76h30v24H14zM104 24h30v24h-30zM104 76h30v24h-30z"/><path class="w" d="M6 56.500L206 43.200v20L6 76.500z"/><path class="d" d="M4 62h210"/><path class="a" d="M184 14v30M181 39l3 5 3-5"/><circle cx="184" cy="10" r="8" fill="none"/><path class="a" d="M14 104v22M134 104v22M184 66v60M14 120h120M18 117l-4 3 4 3M130 117l4 3-4 3M134 120h50M138 117l-4 3 4 3M180 117l4 3-4 3"/><text class="t" x="60" y="115">span</text><text class="t" x="137" y="135">overhang</text><text class="t" x="106" y="20">near</text><text class="t" x="20" y="20">far</text>`
