package store

import "os"

// Remove removes an entry; none of that key is no error.
func (d *Disk) Remove(key string) error {
	if err := os.Remove(d.path(key)); err != nil && !os.IsNotExist(err) {
		return err
	}
	return nil
}

// Has tells whether there is an entry of a key, whole or not.
func (d *Disk) Has(key string) bool {
	_, err := os.Stat(d.path(key))
	return err == nil
}
