package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	typev1 "seamshare.example/proto/gen/seamshare/type/v1"
	"seamshare.example/services/domain/measure"
)

// photographs are the flags of a command that photos go with: how they were taken.
type photographs struct {
	light string
	wet   bool
}

func (p *photographs) flags(c *cobra.Command) {
	c.Flags().StringVar(&p.light, "light", "", "the light of the photos, such as \"daylight, overcast\"")
	c.Flags().BoolVar(&p.wet, "wet", false, "the photos were taken wet")
}

// photo is the picture that a file holds; none where no file is named.
func (s *session) photo(q call, file string, p photographs) (*typev1.Photo, error) {
	if file != "" && p.light == "" {
		return nil, wrongUsage("--light", "say it, such as --light \"daylight, overcast\"", "is needed where there is a photo: opal looks another stone in another light")
	}
	return s.photoNamed(q, file, p.light, p.wet)
}

// measurings are the flags of a command that stones are weighed, measured and photographed for.
type measurings struct {
	stones []string
	scale  measure.Mass
	photographs
}

const measuringShape = "STONE=MASS,SIZE[,PHOTO]"

func (m *measurings) flags(c *cobra.Command, usage string) {
	c.Flags().StringArrayVar(&m.stones, "stone", nil, usage+", as `"+measuringShape+"`; again for each stone")
	scaleFlag(c, &m.scale, "0.01 ct")
	m.photographs.flags(c)
}

// measured reads what --stone says.
func (s *session) measured(q call, m measurings) (all []*typev1.Measured, err error) {
	for _, typed := range m.stones {
		one, err := s.measuredOne(q, m, "--stone", typed)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, nil
}

// measuredOne reads "STONE=3.04 ct, 12x9x3.0 mm, stone-1.jpg". field is what an error names.
func (s *session) measuredOne(q call, m measurings, field, typed string) (*typev1.Measured, error) {
	const example = "write it as \"STONE=3.04 ct, 12x9x3.0 mm, photo.jpg\""
	id, rest, ok := strings.Cut(typed, "=")
	parts := strings.SplitN(rest, ",", 3) // a file's name may hold commas
	if id = strings.TrimSpace(id); !ok || id == "" || len(parts) < 2 {
		return nil, wrongUsage(field, example, "%q must be the stone's id, =, its mass, its size and perhaps a photo's file", typed)
	}
	mass, err := parseMass(strings.TrimSpace(parts[0]))
	if err != nil {
		return nil, wrongInput(field, example, "stone %s: %v", id, err)
	}
	size, err := parseSize(parts[1])
	if err != nil {
		return nil, wrongInput(field, example, "stone %s: %v", id, err)
	}
	out := &typev1.Measured{StoneId: id, Weighing: weighing(mass, m.scale), Size: size}
	if len(parts) == 3 {
		out.Photo, err = s.photo(q, strings.TrimSpace(parts[2]), m.photographs)
	}
	return out, err
}

// measuredWords is a stone as it was weighed and measured, in one line.
func measuredWords(m *typev1.Measured) string {
	text := fmt.Sprintf("%s (%s), %s", grams(m.GetWeighing()), carats(m.GetWeighing()), size(m.GetSize()))
	if p := m.GetPhoto(); p != nil {
		text += fmt.Sprintf(", photo %x… in %s", p.GetSha256()[:min(4, len(p.GetSha256()))], plain(p.GetLight()))
	}
	return text
}
