"""The public API, for type checkers and editors."""

from lookdev.colorimetry.encodings import Encoding as Encoding
from lookdev.colorimetry.encodings import encoding_names as encoding_names
from lookdev.colorimetry.encodings import get_encoding as get_encoding
from lookdev.errors import LookdevError as LookdevError
from lookdev.errors import RequestError as RequestError
from lookdev.jobs.batch import BatchRequest as BatchRequest
from lookdev.jobs.batch import BatchResult as BatchResult
from lookdev.jobs.batch import run as _batch
from lookdev.jobs.choices import ChoicesRequest as ChoicesRequest
from lookdev.jobs.choices import ChoicesResult as ChoicesResult
from lookdev.jobs.choices import run as _choices
from lookdev.jobs.common import Line as Line
from lookdev.jobs.common import Progress as Progress
from lookdev.jobs.common import open_scout as open_scout
from lookdev.jobs.cubes import CubesRequest as CubesRequest
from lookdev.jobs.cubes import CubesResult as CubesResult
from lookdev.jobs.cubes import run as _cubes
from lookdev.jobs.faces import FacesRequest as FacesRequest
from lookdev.jobs.faces import FacesResult as FacesResult
from lookdev.jobs.faces import run as _faces
from lookdev.jobs.graded import grade as grade
from lookdev.jobs.handoff import run as _handoff
from lookdev.jobs.handoff_parts import Handoff as Handoff
from lookdev.jobs.handoff_parts import HandoffRequest as HandoffRequest
from lookdev.jobs.learn import LearnRequest as LearnRequest
from lookdev.jobs.learn import LearnResult as LearnResult
from lookdev.jobs.learn import run as _learn
from lookdev.jobs.light import LightRequest as LightRequest
from lookdev.jobs.light import LightResult as LightResult
from lookdev.jobs.light import run as _light
from lookdev.jobs.like import LikeRequest as LikeRequest
from lookdev.jobs.like import LikeResult as LikeResult
from lookdev.jobs.like import run as _like
from lookdev.jobs.mix import Differences as Differences
from lookdev.jobs.mix import DifferencesRequest as DifferencesRequest
from lookdev.jobs.mix import MixRequest as MixRequest
from lookdev.jobs.mix import differences as differences
from lookdev.jobs.mix import mix as mix
from lookdev.jobs.paint import run as _paint
from lookdev.jobs.paint_requests import ApartRequest as ApartRequest
from lookdev.jobs.paint_requests import MatchRequest as MatchRequest
from lookdev.jobs.paint_requests import PaletteRequest as PaletteRequest
from lookdev.jobs.paint_requests import PredictRequest as PredictRequest
from lookdev.jobs.pitch import PitchRequest as PitchRequest
from lookdev.jobs.pitch import PitchResult as PitchResult
from lookdev.jobs.pitch import run as _pitch
from lookdev.jobs.sheets import SheetsRequest as SheetsRequest
from lookdev.jobs.sheets import SheetsResult as SheetsResult
from lookdev.jobs.sheets import run as _sheets
from lookdev.jobs.watch import WatchRequest as WatchRequest
from lookdev.jobs.watch import run as _watch
from lookdev.jobs.wedge import WedgeRequest as WedgeRequest
from lookdev.jobs.wedge import WedgeResult as WedgeResult
from lookdev.jobs.wedge import run as _wedge
from lookdev.looks.cast import Cast as Cast
from lookdev.looks.mix import mixed as mixed
from lookdev.looks.model import Look as Look
from lookdev.looks.toml_file import load_look as load_look
from lookdev.lut.bake import bake_cube as bake_cube
from lookdev.lut.cdl_inspection import inspect_cdl as inspect_cdl
from lookdev.lut.cube import read_cube as read_cube
from lookdev.lut.cube import write_cube as write_cube
from lookdev.lut.inspection import inspect_lut as inspect_lut
from lookdev.lut.rebuild import rebuild as rebuild
from lookdev.lut.received import open_look as open_look
from lookdev.lut.received import open_looks as open_looks
from lookdev.lut.verify import verify as verify
from lookdev.meter.log import read_meter_log as read_meter_log
from lookdev.meter.scout import Scout as Scout
from lookdev.render.lattice import grade_fast as grade_fast
from lookdev.render.reference import grade_reference as grade_reference
from lookdev.stills.reader import read_still as read_still
from lookdev.stills.writer import write_still as write_still
from lookdev.survey.places import Place as Place
from lookdev.survey.survey import Survey as Survey
from lookdev.survey.survey import SurveyedStill as SurveyedStill
from lookdev.survey.survey import survey as survey

__version__: str
__all__: list[str]

batch = _batch
choices = _choices
cubes = _cubes
faces = _faces
handoff = _handoff
learn = _learn
like = _like
light = _light
paint = _paint
pitch = _pitch
sheets = _sheets
watch = _watch
wedge = _wedge
