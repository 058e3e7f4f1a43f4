#include <fmt/format.h>
#include <taglib/taglib.h>

#include <algorithm>
#include <memory>
#include <utility>

#include "audio/audio_names.h"
#include "audio/bytes.h"
#include "audio/digest.h"
#include "audio/file.h"
#include "audio/helper_source.h"
#include "audio/mpeg_source.h"
#include "audio/pcm.h"
#include "audio/sndfile_source.h"
#include "audio/walk.h"
#include "base/os.h"

namespace sendworthy::audio {
namespace {

Result<OpenedFile> open_walked(std::unique_ptr<Bytes> bytes, const std::string& path) {
  auto walked = walk(*bytes, path);
  if (!walked) return tl::unexpected(walked.error());
  OpenedFile opened;
  opened.facts = walked->facts;
  const auto codec = walked->data.codec;
  if (codec == Codec::aac || codec == Codec::alac) {
    auto source = open_with_helper(std::move(bytes), std::move(*walked), opened.facts);
    if (!source) return tl::unexpected(source.error());
    opened.source = std::move(*source);
    return opened;
  }
  // Without samples there is nothing a decoder could be asked for.
  if (codec == Codec::pcm || codec == Codec::ieee_float || walked->data.bytes <= 0) {
    opened.source = open_plain(std::move(bytes), std::move(*walked));
    return opened;
  }
  auto source = codec == Codec::mpeg ? open_mpeg(std::move(bytes), std::move(*walked), path)
                                     : open_with_sndfile(std::move(bytes), std::move(*walked), path);
  if (!source) return tl::unexpected(source.error());
  opened.source = std::move(*source);
  return opened;
}

// Those we cannot read are in it too: in a folder nobody may think that they were looked at.
constexpr std::string_view kAudioExtensions =
    " wav wave bwf rf64 bw64 w64 aif aiff aifc caf flac ogg oga opus mp3 m4a m4b m4r mp4 m4v mov aac wma wv ape dsf dff mka mpc ac3 "
    "ec3 dts sd2 au snd amr ";
constexpr int kMaxDepth = 64;
constexpr std::size_t kMaxFiles = 1'000'000;

Result<void> collect(const std::string& folder, Depth depth, int level, std::vector<std::string>& found) {
  auto entries = base::list_folder(folder);
  if (!entries) {
    // A folder below that cannot be opened is not passed over: its files would count as sound without being looked at.
    return tl::unexpected(entries.error());
  }
  const auto prefix = folder.ends_with('/') ? folder : folder + "/";
  for (const auto& entry : *entries) {
    if (entry.kind == base::FolderEntry::Kind::file) {
      if (!named_like_audio(entry.name)) continue;
      if (found.size() >= kMaxFiles)
        return fail(
            ErrorCode::unreadable,
            fmt::format("cannot read \"{}\": more than {} audio files; name a smaller folder", folder, kMaxFiles));
      found.push_back(prefix + entry.name);
    } else if (entry.kind == base::FolderEntry::Kind::folder && depth == Depth::below && !entry.link) {
      // Links to folders are not followed: they can lead in circles.
      if (level >= kMaxDepth)
        return fail(ErrorCode::unreadable,
                    fmt::format("cannot read \"{}\": folders are nested deeper than {}", folder, kMaxDepth));
      if (auto ok = collect(prefix + entry.name, depth, level + 1, found); !ok) return ok;
    }
  }
  return {};
}

}  // namespace

bool named_like_audio(std::string_view name) {
  const auto extension = extension_of(name);
  // "._name" is what some systems leave beside a file on foreign disks; it holds no sound.
  if (extension.empty() || name.starts_with("._")) return false;
  return kAudioExtensions.find(" " + extension + " ") != std::string_view::npos;
}

Result<OpenedFile> open_file(const std::string& path) {
  auto file = base::InputFile::open(path);
  if (!file) return tl::unexpected(file.error());
  auto bytes = std::make_unique<FileBytes>(std::move(*file));
  auto failed = bytes->failed();
  auto opened = open_walked(std::move(bytes), path);
  if (opened) opened->reading_failed = std::move(failed);
  return opened;
}

Result<OpenedFile> open_bytes(std::string_view bytes, const std::string& shown_path) {
  return open_walked(std::make_unique<MemoryBytes>(bytes), shown_path);
}

bool file_beside(const std::string& path, const std::string& name) {
  const auto slash = path.rfind('/');
  return base::InputFile::open((slash == std::string::npos ? "" : path.substr(0, slash + 1)) + name).has_value();
}

Result<std::vector<std::string>> audio_files_in(const std::string& folder, Depth depth) {
  std::vector<std::string> found;
  if (auto ok = collect(folder, depth, 0, found); !ok) return tl::unexpected(ok.error());
  if (found.empty())
    return fail(ErrorCode::no_audio,
                fmt::format("there is no audio file in \"{}\"{}; audio files end in .wav, .aif, .flac and the like",
                            folder, depth == Depth::here ? " (folders in it were not searched)" : ""));
  std::sort(found.begin(), found.end());
  return found;
}

std::vector<std::pair<std::string, std::string>> audio_library_versions() {
  return {{"libsndfile", sndfile_version()},
          {"libmpg123", mpg123_version()},
          {"TagLib", fmt::format("{}.{}.{}", TAGLIB_MAJOR_VERSION, TAGLIB_MINOR_VERSION, TAGLIB_PATCH_VERSION)},
          {"OpenSSL", openssl_version()}};
}

}  // namespace sendworthy::audio
