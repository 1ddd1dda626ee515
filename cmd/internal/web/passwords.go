package web

import (
	"bufio"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/crypto/argon2"

	"plantframe/pipeline/swing"
)

// Role is what somebody may do.
type Role string

// Roles of a password file.
const (
	Instructor Role = "instructor" // everything
	Viewer     Role = "viewer"     // looks at everything, changes nothing
)

// Cost of one password check: 19 MiB, two passes, one lane, the least that the OWASP
// cheat sheet on password storage recommends for Argon2id (from memory). It is stored
// with each password, so that it can be raised.
const (
	argonMemory = 19 << 10 // KiB
	argonTime   = 2
	argonKey    = 32 // bytes
)

// Limits on what a password file may ask of us: a damaged line must not eat memory.
const (
	mostArgonMemory = 256 << 10 // KiB
	mostArgonTime   = 16
)

// leastPassword is the shortest password, characters: NIST SP 800-63B, 5.1.1.
const leastPassword = 8

// longestPassword bounds the work of one check, bytes.
const longestPassword = 1024

// entry is one line of a password file: NAME:ROLE:HASH.
type entry struct {
	name string
	role Role
	hash string // $argon2id$v=19$m=..,t=..,p=..$salt$key, base64 without padding
}

// hashPassword returns the hash of a password with a new salt.
func hashPassword(password string) string {
	salt := make([]byte, 16)
	_, _ = rand.Read(salt) // never fails
	key := argon2.IDKey([]byte(password), salt, argonTime, argonMemory, 1, argonKey)
	b64 := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=1$%s$%s", argon2.Version, argonMemory, argonTime, b64(salt), b64(key))
}

// checkPassword tells whether a password has a hash.
func checkPassword(hash, password string) bool {
	m, t, salt, key, err := parseHash(hash)
	if err != nil || len(password) > longestPassword {
		return false
	}
	got := argon2.IDKey([]byte(password), salt, t, m, 1, uint32(len(key)))
	return subtle.ConstantTimeCompare(got, key) == 1
}

var errHash = errors.New("the hash is not one of ours")

func parseHash(hash string) (memory, passes uint32, salt, key []byte, err error) {
	parts := strings.Split(hash, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" || parts[2] != "v="+strconv.Itoa(argon2.Version) {
		return 0, 0, nil, nil, errHash
	}
	var p uint32
	if n, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &memory, &passes, &p); n != 3 || err != nil ||
		memory < 8 || memory > mostArgonMemory || passes < 1 || passes > mostArgonTime || p != 1 {
		return 0, 0, nil, nil, errHash
	}
	salt, err1 := base64.RawStdEncoding.DecodeString(parts[4])
	key, err2 := base64.RawStdEncoding.DecodeString(parts[5])
	if err1 != nil || err2 != nil || len(salt) < 8 || len(key) < 16 || len(key) > 64 {
		return 0, 0, nil, nil, errHash
	}
	return memory, passes, salt, key, nil
}

// passwordFile is the password file as last read. It is read again when it changes.
type passwordFile struct {
	path string

	mu   sync.Mutex
	size int64
	time time.Time
	list []entry
	err  error
}

// entries returns the lines of the file; none when there is no file.
func (p *passwordFile) entries() ([]entry, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	st, err := os.Stat(p.path)
	if errors.Is(err, fs.ErrNotExist) || p.path == "" {
		p.list, p.err, p.size = nil, nil, 0
		return nil, nil
	}
	if err != nil {
		return nil, passwordError(p.path, "it cannot be read", err)
	}
	if p.size == st.Size() && p.time.Equal(st.ModTime()) && p.size > 0 {
		return p.list, p.err
	}
	p.list, p.err = readPasswords(p.path)
	p.size, p.time = st.Size(), st.ModTime()
	return p.list, p.err
}

// find returns the entry of a name.
func (p *passwordFile) find(name string) (entry, bool) {
	list, err := p.entries()
	if err != nil {
		return entry{}, false
	}
	i := slices.IndexFunc(list, func(e entry) bool { return e.name == name })
	if i < 0 {
		return entry{}, false
	}
	return list[i], true
}

func passwordError(path, what string, err error) error {
	return &swing.Error{
		Op: "web.passwords", Frame: -1, Kind: swing.KindUsage, Msg: "the password file " + path + ": " + what,
		Hint: "plantframe serve passwd NAME writes it", Err: err,
	}
}

func readPasswords(path string) ([]entry, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, passwordError(path, "it cannot be read", err)
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil || !st.Mode().IsRegular() || st.Size() > 1<<20 {
		return nil, passwordError(path, "it is no password file", err)
	}
	if st.Mode().Perm()&0o077 != 0 {
		return nil, &swing.Error{
			Op: "web.passwords", Frame: -1, Kind: swing.KindUsage, Msg: "the password file " + path + " can be read by others",
			Hint: "run: chmod 600 " + path,
		}
	}
	var out []entry
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		name, rest, _ := strings.Cut(line, ":")
		role, hash, _ := strings.Cut(rest, ":")
		_, _, _, _, herr := parseHash(hash)
		if !goodName(name) || role != string(Instructor) && role != string(Viewer) || herr != nil {
			return nil, passwordError(path, fmt.Sprintf("line %d is not NAME:ROLE:HASH", n), nil)
		}
		out = append(out, entry{name, Role(role), hash})
	}
	if err := lines.Err(); err != nil {
		return nil, passwordError(path, "it cannot be read", err)
	}
	return out, nil
}

// goodName tells whether a name may log in: letters, digits and . - _ @, so that it
// fits on a line of the file and of a log.
func goodName(name string) bool {
	if name == "" || len(name) > 64 {
		return false
	}
	for _, r := range name {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', strings.ContainsRune("._-@", r):
		default:
			return false
		}
	}
	return true
}

// SetPassword writes a name with its password and role into a password file, in place
// of what it held of that name; an empty password takes the name out. The file is
// replaced as a whole and readable by its owner alone. Errors are *swing.Error.
func SetPassword(path, name, password string, role Role) error {
	wrong := ""
	switch {
	case !goodName(name):
		wrong = fmt.Sprintf("the name %q cannot be used: it takes up to 64 letters, digits and . - _ @", name)
	case role != Instructor && role != Viewer:
		wrong = fmt.Sprintf("the role is %q, it must be instructor or viewer", role)
	case password != "" && len([]rune(password)) < leastPassword:
		wrong = fmt.Sprintf("the password has less than %d characters", leastPassword)
	case len(password) > longestPassword:
		wrong = "the password is too long"
	}
	if wrong != "" {
		return &swing.Error{Op: "web.SetPassword", Frame: -1, Kind: swing.KindUsage, Msg: wrong}
	}
	var list []entry
	if _, err := os.Stat(path); err == nil {
		if list, err = readPasswords(path); err != nil {
			return err
		}
	}
	had := len(list)
	list = slices.DeleteFunc(list, func(e entry) bool { return e.name == name })
	if password == "" {
		if len(list) == had {
			return &swing.Error{Op: "web.SetPassword", Frame: -1, Kind: swing.KindUsage, Msg: "there is no " + name + " in " + path}
		}
	} else {
		list = append(list, entry{name, role, hashPassword(password)})
	}
	var b strings.Builder
	for _, e := range list {
		fmt.Fprintf(&b, "%s:%s:%s\n", e.name, e.role, e.hash)
	}
	if err := writeFile(path, []byte(b.String())); err != nil {
		return passwordError(path, "it cannot be written", err)
	}
	return nil
}

// writeFile writes a private file under a temporary name, syncs and renames it.
func writeFile(path string, data []byte) (err error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".plantframe-") // 0600
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err := f.Write(data); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
