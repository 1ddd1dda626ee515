package targets

import "plantframe/configs"

// drillSource is the file of drills.
func drillSource(name string) (source, error) {
	if name != "" {
		return open("drills", "drills", name)
	}
	data, err := configs.Files.ReadFile("drills.yaml")
	return source{"configs/drills.yaml", data}, err
}

// Drills returns the drills of a file by name; "" = those of the program.
func Drills(file string) (map[string]Drill, error) {
	byID, err := loadDrills(file)
	if err != nil {
		return nil, err
	}
	out := map[string]Drill{}
	for _, d := range byID {
		out[d.Name] = d
	}
	return out, nil
}
