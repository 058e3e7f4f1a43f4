// What goes out with a set: which files, by their digests, what they were found to be, who says so and when. Written by the
// sender, read by the receiver.
#pragma once

#include <sendworthy/result.h>
#include <sendworthy/sheet.h>

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace sendworthy::sheet {

inline constexpr std::size_t kMostManifestBytes = std::size_t{64} << 20;
inline constexpr std::size_t kMostManifestFiles = 200'000;

/// What a manifest is good for, in every text that goes out with a set.
inline constexpr std::string_view kProves = "that nothing changed on the way, not where it comes from";

/// A file of the set, as it was when it was checked.
struct SentFile {
  /// item: ordered sound. sums: SHA256SUMS and MD5SUMS, which cannot list themselves. other: what travels along.
  enum class Kind { item, order, note, sums, other };
  std::string path;  ///< below the set's folder, with / between; any bytes
  Kind kind = Kind::other;
  std::int64_t size = 0;    ///< bytes
  std::string sha256, md5;  ///< lower-case hexadecimal
  const FileSheet* sheet = nullptr;  ///< of an item; none where a manifest was read back
};
[[nodiscard]] std::string_view to_string(SentFile::Kind kind);

struct Manifest {
  std::string tool_version;
  std::string title, artist, album, client;
  std::string by;      ///< empty: not said
  std::string date;    ///< YYYY-MM-DD
  std::string anyway;  ///< why it goes out although it fails; empty: it does not fail
  Verdict verdict = Verdict::fail;
  std::string folder;  ///< what the sheet's paths begin with and the set's do not: "masters/"
  std::vector<SentFile> files;  ///< sorted by path
};

/// The path as the set has it.
[[nodiscard]] std::string_view below(const Manifest& manifest, std::string_view shown);

/// The measurements that stand in a manifest; all of them are on the sheet.
[[nodiscard]] const std::vector<std::string_view>& key_measurements();

/// manifest.json. `sheet`: of the check. The same values give the same bytes.
[[nodiscard]] std::string render_manifest(const Manifest& manifest, const Sheet& sheet, const Catalog& catalog);

/// A hostile text: bounded in size, depth and number of files, every path one that stays below its folder and stands there once.
/// Members this version does not know are passed over. Error: rules, without the file's name.
[[nodiscard]] Result<Manifest> read_manifest(std::string_view text);

/// What md5sum -c and sha256sum -c of GNU coreutils read: "digest  name", a name with \ or a line end escaped and its line
/// begun with \. All but the kind `sums`.
enum class Checksum { sha256, md5 };
[[nodiscard]] std::string render_checksums(const std::vector<SentFile>& files, Checksum checksum);

/// One page for people, as Markdown and as HTML without script or network.
[[nodiscard]] std::string render_hand_off_note(const Manifest& manifest, const Sheet& sheet, const Catalog& catalog);
[[nodiscard]] std::string render_hand_off_page(const Manifest& manifest, const Sheet& sheet, const Catalog& catalog);

}  // namespace sendworthy::sheet
