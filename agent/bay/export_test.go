package bay

// Seal gives a memory a matching checksum, so that tests get past the check.
func (m *Memory) Seal() { m.Sum = m.sum() }

// Seal does the same for a pack's memory.
func (m *PackMemory) Seal() { m.Sum = m.sum() }
