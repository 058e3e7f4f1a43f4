#include "base/code_identity.h"

#include <elf.h>
#include <fmt/format.h>
#include <link.h>

#include <algorithm>
#include <cstdint>
#include <cstring>
#include <exception>
#include <string_view>
#include <vector>

#include "base/hash.h"
#include "base/os.h"

namespace sendworthy::base {
namespace {

constexpr std::size_t kNoteHead = 3 * sizeof(std::uint32_t);
std::size_t padded(std::size_t bytes, std::size_t to) { return (bytes + to - 1) / to * to; }

// The description of the note "GNU", type 3, in a segment of notes; empty when it is not there.
std::string build_id(const char* at, std::size_t bytes, std::size_t alignment) {
  const std::size_t to = alignment == 8 ? 8 : 4;
  while (bytes >= kNoteHead) {
    std::uint32_t head[3];  // sizes of name and description, type
    std::memcpy(head, at, kNoteHead);
    const auto name = kNoteHead, description = padded(kNoteHead + head[0], to);
    const auto whole = padded(description + head[1], to);
    if (description + head[1] > bytes) return {};
    if (head[2] == NT_GNU_BUILD_ID && std::string_view(at + name, head[0]) == std::string_view("GNU", 4)) {
      std::string hex;
      for (std::size_t i = 0; i < head[1]; ++i) hex += fmt::format("{:02x}", static_cast<unsigned char>(at[description + i]));
      return hex;
    }
    if (whole >= bytes) return {};
    at += whole;
    bytes -= whole;
  }
  return {};
}

struct Parts {
  std::vector<std::string> names;
  bool complete = true;
};

std::string name_of(const dl_phdr_info& object) {
  for (int i = 0; i < object.dlpi_phnum; ++i) {
    const auto& segment = object.dlpi_phdr[i];
    if (segment.p_type != PT_NOTE) continue;
    const auto* at = reinterpret_cast<const char*>(object.dlpi_addr + segment.p_vaddr);
    if (auto id = build_id(at, segment.p_memsz, segment.p_align); !id.empty()) return id;
  }
  const std::string path = object.dlpi_name != nullptr && object.dlpi_name[0] != '\0' ? object.dlpi_name : "/proc/self/exe";
  const auto state = state_of(path);
  return state ? fmt::format("{} {} {}", path, state->bytes, state->changed_ns) : std::string();
}

extern "C" int take(dl_phdr_info* object, std::size_t, void* to) {
  auto& parts = *static_cast<Parts*>(to);
  try {
    // The kernel's own page computes nothing of ours.
    if (object->dlpi_name != nullptr && std::string_view(object->dlpi_name).starts_with("linux-vdso")) return 0;
    auto name = name_of(*object);
    if (name.empty()) parts.complete = false;
    parts.names.push_back(std::move(name));
  } catch (const std::exception&) {
    parts.complete = false;  // no exception may cross the C library
  }
  return 0;
}

std::string identity() {
  Parts parts;
  ::dl_iterate_phdr(take, &parts);
  if (!parts.complete || parts.names.empty()) return {};
  std::sort(parts.names.begin(), parts.names.end());
  Hash128 hash;
  for (const auto& name : parts.names) hash.add(name + "\n");
  return hash.hex();
}

}  // namespace

const std::string& code_identity() {
  static const std::string kIdentity = identity();
  return kIdentity;
}

}  // namespace sendworthy::base
