package photo

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
)

// orientation reads tag 0x0112 of a JPEG's Exif (CIPA DC-008, 4.6.4: 1 to 8, how the
// sensor lay); 1, upright, where there is none. Anything odd is upright too: it is a
// hint of the camera's, and the worst that follows is a picture on its side.
func orientation(raw []byte) int {
	for at := 2; at+4 <= len(raw) && raw[at] == 0xFF; {
		marker, size := raw[at+1], int(binary.BigEndian.Uint16(raw[at+2:]))
		if marker == 0xDA || size < 2 || at+2+size > len(raw) { // the picture itself begins
			return 1
		}
		body, ok := bytes.CutPrefix(raw[at+4:at+2+size], []byte("Exif\x00\x00"))
		if marker == 0xE1 && ok {
			return tiffOrientation(body)
		}
		at += 2 + size
	}
	return 1
}

func tiffOrientation(tiff []byte) int {
	var order binary.ByteOrder = binary.LittleEndian
	switch {
	case len(tiff) < 8:
		return 1
	case string(tiff[:4]) == "MM\x00*":
		order = binary.BigEndian
	case string(tiff[:4]) != "II*\x00":
		return 1
	}
	at := int(order.Uint32(tiff[4:]))
	if at < 8 || at+2 > len(tiff) {
		return 1
	}
	for i := range int(order.Uint16(tiff[at:])) {
		entry := at + 2 + 12*i
		if entry+12 > len(tiff) {
			return 1
		}
		if order.Uint16(tiff[entry:]) == 0x0112 {
			if o := int(order.Uint16(tiff[entry+8:])); o >= 1 && o <= 8 {
				return o
			}
			return 1
		}
	}
	return 1
}

// upright turns a picture as its orientation says.
func upright(picture image.Image, orientation int) image.Image {
	if orientation <= 1 {
		return picture
	}
	return &turned{picture, orientation}
}

// turned is a picture seen turned or mirrored, pixel by pixel.
type turned struct {
	image.Image
	orientation int
}

// ColorModel implements image.Image.
func (t *turned) ColorModel() color.Model { return t.Image.ColorModel() }

// Bounds implements image.Image.
func (t *turned) Bounds() image.Rectangle {
	size := t.Image.Bounds().Size()
	if t.orientation >= 5 { // on its side
		size.X, size.Y = size.Y, size.X
	}
	return image.Rectangle{Max: size}
}

// At implements image.Image. w and h are the sensor's last column and row.
func (t *turned) At(x, y int) color.Color {
	b := t.Image.Bounds()
	w, h := b.Dx()-1, b.Dy()-1
	switch t.orientation {
	case 2:
		x = w - x
	case 3:
		x, y = w-x, h-y
	case 4:
		y = h - y
	case 5:
		x, y = y, x
	case 6:
		x, y = y, h-x
	case 7:
		x, y = w-y, h-x
	case 8:
		x, y = w-y, x
	}
	return t.Image.At(b.Min.X+x, b.Min.Y+y)
}
